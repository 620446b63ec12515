"""What a board of the oracle is at one instant."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from firmware_ref.parameters import Mode
from tests.judge.oracle.pins import Pin
from tests.judge.oracle.spans import Span

LOW, BETWEEN, HIGH, LOST = "low", "between", "high", "lost"


class Line(NamedTuple):
    """What qualifies by itself: one sensor, or all taken as one.  Counts are steps for which something has gone on.

    None: it does not.  `good`: since it is not lost.
    """

    trip: int | None = None
    lost: int | None = None
    good: int | None = None


class Memory(NamedTuple):
    """What a board without supply knows of its mitigation; `left` of the hold, None: it was the leak."""

    left: Span | None = None


class Unit(NamedTuple):
    """The board.  Counts are steps for which something has gone on, None: it does not.

    `may_read`: what each sensor's signal may be taken for, `readings`: what
    the board takes it for, `reading`: all together.  `each`: each sensor has
    its own timers.  `goods`: since each sensor is good, `calm`: since none is
    high.  `aware`: a loss has qualified while mitigating, to be dealt with
    as `by` says.  `hold`: what is left of the hold.  `stands`: the hold does
    not run; at low again `rest` of it runs, or all of it (`all`).  `unseen`:
    of a disturbance that the hold takes no notice of.  `ran`: for how long
    the hold has run since the supply went.  `early`: the fault came during
    start-up.  `up`: since the supply came, None: the electronics are dead;
    `cut`: since it went, None: it is there, or never was.
    """

    mode: Mode
    pins: tuple[Pin, ...]
    may_read: tuple[frozenset[str], ...]
    readings: tuple[str, ...]
    reading: str
    lines: tuple[Line, ...]
    goods: tuple[int | None, ...]
    each: bool = False
    calm: int | None = None
    up: int | None = None
    cut: int | None = None
    aware: bool = False
    by: str | None = None
    latched: bool = False
    clear: int | None = None
    hold: Span | None = None
    stands: str | None = None
    unseen: int | None = None
    ran: int = 0
    early: bool = False
    memory: Memory | None = None

    def said(self, n: int) -> str:
        """What line `n` says."""
        return self.readings[n] if self.each else self.reading

    def with_line(self, n: int, line: Line) -> Unit:
        return self._replace(lines=(*self.lines[:n], line, *self.lines[n + 1 :]))

    def quiet(self, lost: bool = False) -> Unit:
        """No leak, or with `lost` no loss either, is being qualified."""
        lines = tuple(x._replace(trip=None, lost=None if lost else x.lost) for x in self.lines)
        return self._replace(lines=lines)

    def unlost(self) -> Unit:
        """A leak goes on being qualified, a loss does not."""
        return self._replace(lines=tuple(x._replace(lost=None) for x in self.lines))

    def watching(self, leaks: bool = True) -> Unit:
        """In a mode that watches for losses, and for leaks unless told otherwise: what had not begun begins."""
        lines = tuple(
            line._replace(
                trip=0 if leaks and self.said(n) == HIGH and line.trip is None else line.trip,
                lost=0 if self.said(n) == LOST and line.lost is None else line.lost,
            )
            for n, line in enumerate(self.lines)
        )
        return self._replace(lines=lines)


def together(readings: Sequence[str], lost_when: str) -> str:
    """All sensors as one condition."""
    if HIGH in readings:
        return HIGH
    if all(r == LOW for r in readings):
        return LOW
    lost = [r == LOST for r in readings]
    return LOST if (all(lost) if lost_when == "all" else any(lost)) else BETWEEN
