"""The built-in procedures, written out for one board.

`acceptance` goes through everything a board must show before it is put into a
house: power-up, combinations of calls, trip, mitigation, a second leak in
the hold, the whole hold, sensor loss in each way.  `survey` applies the same
stimuli to a board whose figures nobody has.  Both hold stimuli and waits only;
which calls are on is chosen so that every output has something to answer.
"""

from __future__ import annotations

from bench.procedure.steps import Procedure, Step, Wait, WaitTimer
from bench.procedure.writer import Writer, good_again
from firmware_ref.parameters import Mode, Parameters

ABOUT = {
    "acceptance": "every requirement a bench can show: calls, trip, mitigation, re-leak, hold, sensor loss",
    "survey": "the stimuli of acceptance without judging, for a board whose figures nobody has",
}


def acceptance(parameters: Parameters) -> Procedure:
    """The full test of one board."""
    writer = _Acceptance(parameters)
    return Procedure("acceptance", ABOUT["acceptance"], writer.whole(), left_out=writer.not_gone_through())


def survey(parameters: Parameters) -> Procedure:
    """The same stimuli, not judged."""
    writer = _Acceptance(parameters)
    steps, left_out = writer.whole(), writer.not_gone_through()
    return Procedure("survey", ABOUT["survey"], steps, judged=False, left_out=left_out)


class _Acceptance(Writer):
    def whole(self) -> tuple[Step, ...]:
        self._power_up()
        self._calls_alone()
        self._part = "Combinations of calls"
        self._walk(following=True)
        self._leak()
        self._walk()
        if self._ways and not self._latches:
            self._lose_in_leak(self._ways[0])
        self._hold()
        self._losses()
        if not self._has_cut:  # else done by the reset
            self._power_up_with_calls()
        if self._ways and self._latches:
            self._leak_and_loss_last()
        return tuple(self.steps)

    # The parts, in the order of the test.

    def _hold(self) -> None:
        self._clear()
        self._walk()
        # With several sensors each must have tripped once: the first above, the others here.
        for sensor in self.sensors[1:] or self.sensors:
            self._part = "Second leak, half-way through the hold"
            self._add(WaitTimer("hold", 0.5))
            self._apply((sensor, "leak"))
            self._add(WaitTimer("trip"))
            self._part = "The whole hold and the release"
            self._apply((sensor, "clear"))
        self._release()

    def _losses(self) -> None:
        for number, loss in enumerate(self._ways):
            self._lose(loss)
            if number == 0:
                self._walk()
            self._come_back(loss)

    def _leak_and_loss_last(self) -> None:
        """Where a loss during a leak may latch, the hold could not be told from a fault after it: a leak of its own.

        The board is not left remembering it: the next test must find it as the first one did.
        """
        self._part = "Sensor lost during a leak"
        loss = self._ways[0]
        self._set(self._telling_calls(Mode.LEAK_ACTIVE), following=True)
        self._apply((loss[0][0], "leak"))
        self._add(WaitTimer("trip"))
        self._apply(*loss)
        self._add(WaitTimer("loss"))
        self._apply(*good_again(loss))
        if self.parameters.rules.after_supply_loss != "forget":
            self._part = "Until nothing is left to remember"
            self._add(WaitTimer("hold"))  # counts from the signal; the clear may begin as late as the return
            self._add(Wait(self._longest_return_us()))
        self._reset()
