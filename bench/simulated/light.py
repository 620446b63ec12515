"""The board's indicator light: which code it shows, and when it comes on and goes off.

Written from the words of the required behaviour, apart from the judge and its
decoder.  Every flash and gap is drawn anew; which of two behaviours that are
both right this board has is settled for a run.
"""

from __future__ import annotations

from dataclasses import dataclass

from bench.simulated.draw import Draw
from firmware_ref.parameters import DARK, STEADY, Interval, Light, Mode, flashes

_MS = 1_000
#: Invented; used only where the profile states nothing.
_FLASH, _LATENCY = Interval(250 * _MS, 350 * _MS), Interval(0, 2_000 * _MS)
#: A pause that is not stated beside a gap that is, and the other way round: well apart.
_APART = (3.2, 4.0)


@dataclass(frozen=True, slots=True)
class LightFlaws:
    """What is wrong with the light; the defaults are nothing.

    `late_us`: a new code begins so much later than it may.  `wrong`: the mode
    in which another mode's code is shown.  `more`: flashes too many in a group.
    `recalls`: how often the last fault is shown; `recalls_other`: the code of the other fault.
    """

    dark: bool = False
    stuck: bool = False
    late_us: int | None = None
    wrong: str | None = None
    more: int = 0
    recalls: int = 1
    recalls_other: bool = False


def other_code(light: Light, mode: Mode) -> str | None:
    """A code of another mode that is not this mode's; None: all show the same."""
    return next((c for m, c in light.codes.items() if c not in (None, light.codes[mode], DARK)), None)


class Indicator:
    """The light of one board; `lit` is what a pick-up sees."""

    def __init__(self, light: Light, draw: Draw, flaws: LightFlaws) -> None:
        self._draw = draw
        self._flaws = flaws
        self._on = light.on or _FLASH
        off = light.off
        if off is None:
            off = _FLASH if light.pause is None else _times(light.pause.min_us, 1 / _APART[1], 1 / _APART[0])
        self._off = off
        self._pause = light.pause or _times(off.max_us, *_APART)
        self._latency = light.latency or _LATENCY
        self._codes = {mode: self._settled(code, light) for mode, code in light.codes.items()}
        if flaws.wrong is not None:
            mode = Mode(flaws.wrong)
            self._codes[mode] = other_code(light, mode) or DARK
        #: A board may finish its group, and may begin a code with its pause.
        self._finishes, self._pauses_first = draw.flip(), draw.flip()
        self._loss_shown = draw.flip()
        self._powered = False
        self._level = False
        self._wanted = self._code = DARK
        self._next: tuple[str, int, int] | None = None  # a code, from when on, at the latest
        self._due_us: int | None = None  # the next edge of the code
        self._left = 0
        self._once, self._again = False, 0  # what is shown is a recall, and so often again

    def _settled(self, code: str | None, light: Light) -> str:
        known = sorted({c for c in light.codes.values() if c is not None})
        return self._draw.choice((*known, "3 flashes")) if code is None else code

    @property
    def lit(self) -> bool:
        if not self._powered or self._flaws.dark:
            return False
        return self._level or self._flaws.stuck

    # -- what happens to it -----------------------------------------------------------------

    def supply(self, on: bool) -> None:
        """It lives on the board's supply."""
        self._powered = on

    def lose_supply(self, now_us: int) -> None:
        """The electronics are dead."""
        self._next = None
        self._wanted = DARK
        self._begin(DARK, now_us)

    def mode(self, mode: Mode, loss_noted: bool, now_us: int) -> None:
        """The program is in a mode; `loss_noted`: of a leak or hold whose sensor counts as lost."""
        code = self._codes[Mode.SENSOR_FAULT if loss_noted and self._loss_shown else mode]
        if code == self._wanted:
            return
        self._wanted = code
        if self._flaws.late_us is not None:
            after_us = self._latency.max_us + self._flaws.late_us
            self._next = (code, now_us + after_us, now_us + after_us)
            return
        after_us = self._draw.span(self._latency, self._latency.max_us)
        latest_us = max(after_us, self._latency.max_us if self._finishes else after_us)
        self._next = (code, now_us + after_us, now_us + latest_us)

    def recall(self, fault: Mode, now_us: int) -> None:
        """Show the code of a fault once, between pauses; one that does not flash shows nothing."""
        if self._flaws.recalls_other:
            fault = Mode.SENSOR_FAULT if fault is Mode.LEAK_ACTIVE else Mode.LEAK_ACTIVE
        if flashes(self._codes[fault]) and self._flaws.recalls:
            self._begin(self._codes[fault], now_us)
            self._once, self._again, self._level = True, self._flaws.recalls - 1, False
            self._due_us = now_us + self._draw.span(self._pause, self._pause.max_us)

    # -- when it moves ------------------------------------------------------------------------

    def next_us(self) -> int | None:
        """The next instant at which it may do something; None: it stays as it is."""
        if self._next is None:
            return self._due_us
        _, first_us, latest_us = self._next
        begins_us = latest_us if self._in_group else first_us
        return begins_us if self._due_us is None else min(self._due_us, begins_us)

    @property
    def _in_group(self) -> bool:
        """Whether a group that is to be finished has begun and is not over."""
        return self._finishes and self._due_us is not None and self._left < self._count_of(self._code)

    def move(self, now_us: int) -> None:
        """Everything that is due by now."""
        if self._due_us is not None and self._due_us <= now_us:
            self._step(self._due_us)
        if self._next is not None:
            code, first_us, latest_us = self._next
            if now_us >= latest_us or (now_us >= first_us and not self._in_group):
                self._next = None
                self._begin(code, now_us)

    def _begin(self, code: str, now_us: int) -> None:
        self._code, self._left, self._due_us = code, self._count_of(code), None
        self._once, self._again = False, 0
        self._level = code == STEADY
        if self._left:
            self._level = not self._pauses_first
            span = self._pause if self._pauses_first else self._on
            self._due_us = now_us + self._draw.span(span, span.max_us)

    def _count_of(self, code: str) -> int:
        count = flashes(code)
        return count + self._flaws.more if count else 0

    def _step(self, now_us: int) -> None:
        if not self._level:
            if self._once and not self._left:
                self._begin(self._wanted, now_us)
                return
            span = self._on
        else:
            self._left -= 1
            span = self._off if self._left else self._pause
            if not self._left and (self._again or not self._once):
                self._again = max(0, self._again - 1)
                self._left = self._count_of(self._code)
        self._level = not self._level
        self._due_us = now_us + self._draw.span(span, span.max_us)


def _times(us: int, least: float, most: float) -> Interval:
    return Interval(round(us * least), round(us * most))
