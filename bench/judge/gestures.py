"""What was pressed on the service button, and what of it the board may, or must, have taken for a gesture.

Only what has been measured counts: when the contact closed and when it opened.
A press, a count of presses or a long press inside its interval may be taken
either way.  An `Ask` is a gesture that may have been made; it opens as soon as
it can be one, and at each later move of the contact it is known better: gone,
or when it must be answered at the latest.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from bench.judge.window import Limit, Stamp, Window, limit_at
from firmware_ref.machine import ASKED
from firmware_ref.parameters import Button, Gesture


@dataclass(frozen=True, slots=True)
class Ask:
    """`action` may be carried out within `window` (no end: still pressed); `must`: surely is by its end.

    `first_us`: the earliest beginning of the first press that it is made of.
    `press`: the number of the press that completes it.
    """

    action: str
    window: Window
    must: bool
    first_us: int
    press: int

    @property
    def event(self) -> str | None:
        """The event of the reference machine that it is; None: it changes no mode."""
        return ASKED.get(self.action)


@dataclass(frozen=True, slots=True)
class Press:
    """One closing of the contact.  `held`: since when the board may take it for held, bounces ridden over."""

    number: int
    begin: Stamp
    held: Stamp
    end: Stamp | None = None
    sure: bool = True
    long: bool = False


@dataclass(slots=True)
class Gestures:
    """Follows the button of one board.  `button` None: it has none, and nothing is ever asked."""

    button: Button | None
    rate_ppm: int
    asks: list[Ask] = field(default_factory=list)
    #: The presses that may belong together, and whether all of that is surely as it seems.
    group: list[Press] = field(default_factory=list)
    sure: bool = True
    last: Stamp | None = None
    _blip: Press | None = None  # too short for a press, but what follows at once may count from it
    _number: int = 0

    def fork(self) -> Gestures:
        """An independent copy."""
        return replace(self, asks=list(self.asks), group=list(self.group))

    def moved(self, closed: bool, stamp: Stamp) -> None:
        """The contact closed or opened."""
        if self.button is None:
            return
        self.last = stamp
        if closed:
            self._pressed(self.button, stamp)
        elif self.group and self.group[-1].end is None:
            self._released(self.button, self.group.pop(), stamp)

    def disturbed(self) -> None:
        """The supply came or went: the board may have begun to count anew, or not."""
        self.sure = False
        self.asks = [replace(ask, must=False) for ask in self.asks]

    def forget(self, before_us: int) -> bool:
        """Drop what can no longer be answered; whether there was anything."""
        kept = [a for a in self.asks if a.window.closes_us is None or a.window.closes_us >= before_us]
        gone = len(kept) < len(self.asks)
        self.asks = kept
        return gone

    def answer_by(self, stamp: Stamp) -> Limit:
        """Until when the board may still act on presses that ended at `stamp`.

        It may wait for as long as a further press could belong to them, and
        must notice that the last one ended.
        """
        assert self.button is not None
        button = self.button
        span_us = button.window.max_us + button.press.max_us + button.acts.max_us
        return limit_at(stamp).plus(span_us, self.rate_ppm)

    def said(self) -> str:
        """What was pressed last, in words."""
        press = self.group[-1] if self.group else self._blip
        if press is None or press.end is None:
            return "a press of the button"
        length = f"{(press.end.mid_us - press.begin.mid_us) / 1e6:.2f} s"
        if len(self.group) > 1:
            return f"the last of {len(self.group)} presses of the button"
        return f"a press of the button for {length}"

    # -- the contact closed -------------------------------------------------------------------

    def _pressed(self, button: Button, begin: Stamp) -> None:
        before = self.group[-1] if self.group else None
        held = begin
        if before is not None and before.end is not None:
            gap = self._least_us(before.end, begin)
            if gap > button.window.max_us and gap > button.press.max_us:
                self.group, self.sure = [], True
            else:  # so near that it may belong to what was pressed before
                self.asks = [replace(ask, must=False) for ask in self.asks]
                if gap < button.press.max_us:  # the opening between may not have been noticed
                    held, self.sure = before.held, False
        elif before is None:
            self.sure = True
        blip = self._blip
        if (
            blip is not None
            and blip.end is not None
            and self._least_us(blip.end, begin) < button.press.max_us
        ):
            held, self.sure = blip.held, False
        self._number += 1
        press = Press(self._number, begin, held)
        self.group.append(press)
        for action, gesture in button.gestures.items():
            if gesture.press is not None:
                low = limit_at(held).plus(gesture.press.min_us, self.rate_ppm)
                self._ask(action, Window(low, None, begin, causal=False), press, held)
            elif (first := self._counted(gesture)) is not None:
                self._ask(action, Window(limit_at(begin), None, begin), press, first.begin)

    def _ask(self, action: str, window: Window, press: Press, first: Stamp) -> None:
        self.asks.append(Ask(action, window, False, first.earliest_us, press.number))

    def _counted(self, gesture: Gesture) -> Press | None:
        """The first of the presses that complete the gesture with the last one, if they may."""
        if len(self.group) < gesture.presses:
            return None
        first, last = self.group[-gesture.presses], self.group[-1]
        if gesture.within is None or first.end is None:
            return first
        return first if self._least_us(first.end, last.begin) <= gesture.within.max_us else None

    # -- the contact opened -------------------------------------------------------------------

    def _released(self, button: Button, press: Press, end: Stamp) -> None:
        least, most = self._least_us(press.begin, end), self._most_us(press.held, end)
        if most < button.press.min_us:  # none at all
            self.asks = [a for a in self.asks if a.press != press.number]
            self._blip = replace(press, end=end)
            return
        long = {a: g.press for a, g in button.gestures.items() if g.press is not None}
        passed = [a for a, span in long.items() if least >= span.max_us]
        maybe = [a for a, span in long.items() if most >= span.min_us and a not in passed]
        press = replace(
            press, end=end, sure=least >= button.press.max_us,
            long=any(most >= span.min_us for span in long.values()),
        )  # fmt: skip
        self.group.append(press)
        alone = self.sure and len(self.group) == 1
        # A board that acts when the button is let go takes the longest that it was pressed for.
        longest = max(passed, key=lambda a: long[a].max_us) if alone and passed and not maybe else ""
        latest = self.answer_by(end)
        asks = []
        for ask in self.asks:
            gesture = button.gestures[ask.action]
            if ask.press == press.number and gesture.press is not None:
                if most < gesture.press.min_us:
                    continue
                high = limit_at(end).plus(button.press.max_us + button.acts.max_us, self.rate_ppm)
                asks.append(replace(ask, window=ask.window._replace(high=high), must=ask.action == longest))
                continue
            must = ask.press == press.number and self._surely(gesture)
            asks.append(replace(ask, window=ask.window._replace(high=latest), must=must))
        self.asks = asks

    def _surely(self, gesture: Gesture) -> bool:
        """Whether what was pressed is the gesture and nothing else, if no other press comes."""
        group = self.group
        exact = len(group) == gesture.presses and self.sure and all(p.sure and not p.long for p in group)
        if not exact or gesture.within is None:
            return exact
        end = group[-1].end
        return end is not None and self._most_us(group[0].begin, end) <= gesture.within.min_us

    # -- measured lengths ---------------------------------------------------------------------

    def _clock_us(self, span_us: int) -> int:
        return abs(span_us) * self.rate_ppm // 1_000_000 + 1

    def _least_us(self, a: Stamp, b: Stamp) -> int:
        span = b.mid_us - a.mid_us
        return span - a.half_us - b.half_us - self._clock_us(span)

    def _most_us(self, a: Stamp, b: Stamp) -> int:
        span = b.mid_us - a.mid_us
        return span + a.half_us + b.half_us + self._clock_us(span)
