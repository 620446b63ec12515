"""`timing`: each timing that can be measured, again and again, so that its spread can be told."""

from __future__ import annotations

from bench.procedure.short import least_share
from bench.procedure.steps import Procedure, WaitTimer
from bench.procedure.writer import Writer
from firmware_ref.parameters import Mode, Parameters

ABOUT = "each timing again and again, with mean, spread, confidence and tolerance interval"

#: How often, if nothing else is asked: enough for a first idea of the spread; ours.
TIMES = 5


def timing(parameters: Parameters, times: int = TIMES) -> Procedure:
    """Calls, power-up, leak to release, and loss to return, each `times` times."""
    writer = _Timing(parameters)
    writer.write(times)
    left_out = writer.not_gone_through()
    return Procedure("timing", ABOUT, tuple(writer.steps), statistics=True, left_out=left_out)


class _Timing(Writer):
    def _looks_at_light(self) -> bool:
        return "light" in self.parameters.must_prove

    def write(self, times: int) -> None:
        outputs = self.parameters.outputs
        if all(o.modes[Mode.LEAK_ACTIVE] is o.modes[Mode.POST_LEAK_HOLD] for o in outputs):
            self.left_out.append(
                "the clear by itself: no output moves when it is over, so it is measured with the hold"
            )
        self._power_up()
        for _ in range(times):
            self._calls_alone()
        for _ in range(times):
            self._power_up_with_calls()
        for number in range(times):
            self._leak()
            if number == 0:
                self._prove_the_rest()
            self._part = "Hold and release"
            self._apply((self.sensors[0], "clear"))
            self._release()
        if self._cannot_reset:
            if self._ways:
                self._lose(self._ways[0])
                self.left_out.append(
                    "more than one sensor loss: nothing is stated that resets a latched fault"
                )
            return
        # One limit holds for every way of losing the sensor: they take turns, each at least once.
        for number in range(max(times, len(self._ways)) if self._ways else 0):
            way = self._ways[number % len(self._ways)]
            self._lose(way)
            self._come_back(way)

    def _prove_the_rest(self) -> None:
        """What must be proven besides timings, once: a run that leaves it out passes no board."""
        self._walk()
        self._clear()
        self._walk()
        self._part = "Second leak in the hold"
        self._add(WaitTimer("hold", least_share(self.parameters)))
        self._trip(self.sensors[0])
