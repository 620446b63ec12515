"""The built-in procedures, written out for one board.

`acceptance` goes through everything a board must show before it is put into a
house: power-up, every combination of calls, trip, mitigation, a second leak in
the hold, the whole hold, sensor loss in each way.  `survey` applies the same
stimuli to a board whose figures nobody has.  Both hold stimuli and waits only;
which calls are on is chosen so that every output has something to answer.
"""

from __future__ import annotations

from bench.procedure.steps import Procedure, Step, Wait, WaitTimer
from bench.procedure.writer import ASSUMED_RESET_US, LATE_HOLD_US, LATE_US, Writer
from firmware_ref.parameters import Mode, Parameters

ABOUT = {
    "acceptance": "every requirement a bench can show: calls, trip, mitigation, re-leak, hold, sensor loss",
    "survey": "the stimuli of acceptance without judging, for a board whose figures nobody has",
}


def acceptance(parameters: Parameters) -> Procedure:
    """The full test of one board."""
    return Procedure("acceptance", ABOUT["acceptance"], _Acceptance(parameters).whole())


def survey(parameters: Parameters) -> Procedure:
    """The same stimuli, not judged."""
    return Procedure("survey", ABOUT["survey"], _Acceptance(parameters).whole(), judged=False)


class _Acceptance(Writer):
    def __init__(self, parameters: Parameters) -> None:
        super().__init__(parameters)
        self._lost_in_leak = False

    def whole(self) -> tuple[Step, ...]:
        self._power_up()
        self._calls_alone()
        self._part = "Every combination of calls"
        self._walk(following=True)
        self._leak()
        latches = self.parameters.rules.latching is not False
        if not latches:
            self._loss_in_leak()
        self._hold()
        self._loss()
        self._power_up_with_calls()
        if latches:
            self._leak_and_loss_last()
        return tuple(self.steps)

    # The parts, in the order of the test.

    def _leak(self) -> None:
        self._part = "Leak"
        self._set(self._telling_calls(Mode.LEAK_ACTIVE), following=True)
        self._apply((self.sensors[0], "leak"))
        self._add(WaitTimer("trip"))
        self._late(Mode.LEAK_ACTIVE, LATE_US)
        self._walk()

    def _hold(self) -> None:
        self._part = "Hold"
        leaking = self.sensors[0]
        self._apply((leaking, "clear"))
        self._add(WaitTimer("clear"))
        if self._lost_in_leak:  # the clear may begin as late as the return would
            self._add(Wait(self._longest_return_us()))
        self._walk()
        # With several sensors each must have tripped once: the first above, the others here.
        for sensor in self.sensors[1:] or self.sensors:
            self._part = "Second leak, half-way through the hold"
            self._add(WaitTimer("hold", 0.5))
            self._apply((sensor, "leak"))
            self._add(WaitTimer("trip"))
            self._part = "The whole hold and the release"
            self._apply((sensor, "clear"))
        self._add(WaitTimer("hold"))
        self._late(Mode.NORMAL, LATE_HOLD_US)
        if self._restarts_after("release"):
            self._add(WaitTimer("restart"))

    def _loss(self) -> None:
        for number, loss in enumerate(self._ways_of_loss()):
            self._part = "Sensor loss: " + ", ".join(f"{sensor} {way}" for sensor, way in loss)
            self._set(self._telling_calls(Mode.SENSOR_FAULT), following=True)
            self._apply(*loss)
            self._add(WaitTimer("loss"))
            self._late(Mode.SENSOR_FAULT, LATE_US)
            if number == 0:
                self._walk()
            self._apply(*((sensor, "clear") for sensor, _ in loss))
            self._add(WaitTimer("return"))
            self._after_return()

    def _power_up_with_calls(self) -> None:
        """Done by the reset already where a fault latches; not at the start, where a fault of one output would
        show as another one's than on a call."""
        if not self._cut:
            self._part = "Power-up with calls on"
            self._cut_supply(0)

    def _loss_in_leak(self) -> None:
        """During the first leak, and back to it."""
        if not self._ways_of_loss():
            return
        self._part = "Sensor lost during a leak"
        loss = self._ways_of_loss()[0]
        self._apply(*loss)
        self._add(WaitTimer("loss"))
        self._apply(*((sensor, "leak" if sensor == self.sensors[0] else "clear") for sensor, _ in loss))
        self._add(WaitTimer("return"))
        self._lost_in_leak = True

    def _leak_and_loss_last(self) -> None:
        """Where a loss during a leak may latch, the hold could not be told from a fault after it: a leak of its own.

        The board is not left remembering it: the next test must find it as the first one did.
        """
        if not self._ways_of_loss():
            return
        self._part = "Sensor lost during a leak"
        loss = self._ways_of_loss()[0]
        self._set(self._telling_calls(Mode.LEAK_ACTIVE), following=True)
        self._apply((loss[0][0], "leak"))
        self._add(WaitTimer("trip"))
        self._apply(*loss)
        self._add(WaitTimer("loss"))
        rules = self.parameters.rules
        self._apply(*((sensor, "clear") for sensor, _ in loss))
        if rules.after_supply_loss != "forget":
            self._part = "Until nothing is left to remember"
            self._add(WaitTimer("hold"))  # counts from the signal; the clear may begin as late as the return
            self._add(Wait(self._longest_return_us()))
        self._part = "Reset by cutting the supply"
        self._cut_supply(rules.reset_supply_off_us or ASSUMED_RESET_US)
