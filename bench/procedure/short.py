"""`short`: the least board time that proves all that `must_prove` demands; for the test before a board is installed.

The phases of `acceptance` taken apart, as small as each can be.  What can be
left out without leaving something unproven on a board in the middle of its
limits is left out, the longest first.  The trial itself is the caller's: it
takes the dry run and the judge, which this room may not know.

Shorter than a part of `acceptance` is only the second leak: it comes as soon
as a hold that started afresh can surely be told from one that did not, or that
stood still meanwhile.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from functools import cache, partial

from bench.judge.bounds import expected_bound_us
from bench.procedure.steps import Procedure, Step, Wait, WaitTimer
from bench.procedure.timers import span
from bench.procedure.writer import Settings, Writer, said
from firmware_ref.parameters import Mode, Parameters

ABOUT = "the least board time that proves all that must be proven, for the test before a board is installed"

#: The second leak comes here in the hold where it may be anywhere, and nowhere later.
_HALF = 0.5


@dataclass(frozen=True, slots=True)
class Trial:
    """A procedure carried out on paper: how long it takes, what of `must_prove` it leaves unproven."""

    board_us: int
    unproven: frozenset[str]


Try = Callable[[Procedure], Trial]


def short(parameters: Parameters, attempt: Try) -> Procedure:
    """The shortest test of this board that proves what all its phases together prove."""
    return of_phases(parameters, needed(parameters, attempt))


def of_phases(parameters: Parameters, kept: Collection[str]) -> Procedure:
    """The procedure of those phases alone."""
    writer = _Short(parameters)
    for name, write in writer.phases().items():
        if name in kept:
            write()
    return Procedure("short", ABOUT, writer.finish())


def needed(parameters: Parameters, attempt: Try) -> tuple[str, ...]:
    """The phases that cannot be left out, in their order: without any one of them more is left unproven."""
    every = kept = tuple(_Short(parameters).phases())

    @cache
    def trial(names: tuple[str, ...]) -> Trial:
        return attempt(of_phases(parameters, names))

    saved = {name: trial(every).board_us - trial(_without(every, name)).board_us for name in every}
    while True:
        before = kept
        for name in sorted(kept, key=lambda n: -saved[n]):
            if trial(_without(kept, name)).unproven <= trial(every).unproven:
                kept = _without(kept, name)
        if kept == before:
            return kept


def _without(names: tuple[str, ...], name: str) -> tuple[str, ...]:
    return tuple(n for n in names if n != name)


def least_share(parameters: Parameters) -> float:
    """How soon in the hold something may happen to it, so that what it did to it can be told at the release.

    A hold must surely have begun, and a whole hold from then on must end later
    than one that went on, or stood still, could.
    """
    hold, clear = span(parameters, "hold"), span(parameters, "clear")
    if hold is None or clear is None or not hold.min_us:
        return _HALF
    needed_us = max(hold.width_us, clear.max_us) + 4 * expected_bound_us(hold.max_us)
    return min(_HALF, -(-100 * needed_us // hold.min_us) / 100)


class _Short(Writer):
    def __init__(self, parameters: Parameters) -> None:
        super().__init__(parameters)
        self._lost: Settings = ()

    def _looks_at_light(self) -> bool:
        return "light" in self.parameters.must_prove

    def phases(self) -> Mapping[str, Callable[[], None]]:
        """Every phase in its order.  Each can be left out; the others then still make a procedure."""
        latches, ways = self._latches, self._ways
        found: dict[str, Callable[[], None]] = {"power-up": self._power_up}
        for call in self.calls:
            found[f"call {call} alone"] = partial(self._calls_alone, call)
        found["leak"] = self._leak
        for call in self.calls:
            found[f"call {call} in the leak"] = partial(self._turn, "Calls in the leak", call)
        if ways and not latches:
            found["sensor lost during the leak"] = partial(self._lose_in_leak, ways[0])
        found["hold"] = self._clear
        for call in self.calls:
            found[f"call {call} in the hold"] = partial(self._turn, "Calls in the hold", call)
        for sensor in self.sensors:
            found[f"second leak, {sensor}"] = partial(self._second_leak, sensor)
        found["release"] = self._release
        for way in ways:
            found[f"sensor loss: {said(way)}"] = partial(self._loss, way)
        if ways:
            found["after the last sensor loss"] = self._back
        if not ways or not latches or self._reset_by_button:
            found["power-up with calls on"] = self._power_up_with_calls
        if ways and latches:
            found["sensor lost during a leak"] = partial(self._leak_and_loss, ways[0])
        return found

    def finish(self) -> tuple[Step, ...]:
        """A latched fault must not be left to the next test: without supply for long enough, or by the button."""
        if self._lost and self._latches and self._reset_by_button and not self._reset_by_supply:
            self._come_back(self._lost)
        elif self._lost and self._latches:
            self._part = "Reset by leaving the supply off"
            self._off(self._reset_us())
        return tuple(self.steps)

    def _turn(self, part: str, call: str) -> None:
        """And back: only a change towards what is held shows that it is held."""
        self._part = part
        for _ in range(2):
            self._set({call: not self.calls[call]}, following=False)

    def _second_leak(self, sensor: str) -> None:
        self._part = f"Second leak in the hold, {sensor}"
        self._add(WaitTimer("hold", least_share(self.parameters)))
        if self._lost_in_leak:  # the hold may have begun as much later
            self._add(Wait(self._longest_return_us()))
        self._apply((sensor, "leak"))
        self._add(WaitTimer("trip"))
        self._part = "The whole hold and the release"
        self._apply((sensor, "clear"))

    def _loss(self, loss: Settings) -> None:
        self._back()
        self._lose(loss)
        self._lost = loss

    def _back(self) -> None:
        """From the sensor loss before, if there was one."""
        if self._lost:
            self._come_back(self._lost)
        self._lost = ()

    def _leak_and_loss(self, loss: Settings) -> None:
        self._back()
        self._part = "Sensor lost during a leak"
        self._set(self._telling_calls(Mode.LEAK_ACTIVE), following=True)
        self._trip(loss[0][0])
        self._apply(*loss)
        self._add(WaitTimer("loss"))
        self._lost = loss
