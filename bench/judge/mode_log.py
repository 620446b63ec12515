"""In which modes a board may have been, and when: what its light is judged against."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from bench.judge.gestures import Ask, Gestures
from bench.judge.possibility import Possibility
from firmware_ref.parameters import Mode

#: A loss noticed within mitigation may be shown as the loss or as what goes on; a hold that waits also as the leak.
_SHOWS = {
    "leak_active_lost": frozenset({Mode.LEAK_ACTIVE, Mode.SENSOR_FAULT}),
    "post_leak_hold_lost": frozenset({Mode.LEAK_ACTIVE, Mode.POST_LEAK_HOLD, Mode.SENSOR_FAULT}),
}


#: What the board may have shown at one time; None: anything.
Modes = frozenset["Mode | None"]


class Spell(NamedTuple):
    """From `from_us` up to `to_us` the board may have shown any of these modes."""

    from_us: int
    to_us: int
    modes: Modes


@dataclass(slots=True)
class ModeLog:
    """Filled by the tracker as it goes, in order of time; true us.

    `recalls`: within these the board may have been asked to show the last fault.
    """

    recalls: list[tuple[int, int]] = field(default_factory=list)
    _asked: dict[tuple[int, str], Ask] = field(default_factory=dict)
    _since: list[int] = field(default_factory=list)
    _modes: list[Modes] = field(default_factory=list)

    def note(self, now_us: int, possibilities: Sequence[Possibility], cut: bool) -> None:
        """These are left; `cut`: the supply is gone, and nothing that it feeds shows anything."""
        modes: Modes = frozenset({Mode.UNPOWERED} if cut else ())
        for p in possibilities:
            modes |= _SHOWS.get(p.state) or {p.mode}
        if not self._modes or modes != self._modes[-1]:
            self._since.append(now_us)
            self._modes.append(modes)

    @property
    def asked(self) -> list[Ask]:
        """What was asked for by the button at the light and at what is stored, in order."""
        return list(self._asked.values())

    def ask(self, gestures: Gestures, now_us: int, released: bool = False) -> None:
        """What was pressed came to be known otherwise; `released`: since the button was let go."""
        for ask in gestures.asks:
            if ask.action == "recall":
                self.recalls.append((ask.window.opens_us, ask.window.closes_us or now_us))
            if ask.event is None:  # it changes no mode
                self._asked[ask.press, ask.action] = ask
        if released and gestures.group:
            standing, last = {(a.press, a.action) for a in gestures.asks}, gestures.group[-1].number
            for key in [k for k in self._asked if k[0] == last and k not in standing]:
                del self._asked[key]  # the press was too short for it

    def free(self, from_us: int, to_us: int) -> None:
        """Between these instants the light may also show anything else."""
        for at_us in (from_us, to_us):
            place = bisect_right(self._since, at_us)
            if place and self._since[place - 1] != at_us:
                self._since.insert(place, at_us)
                self._modes.insert(place, self._modes[place - 1])
        for place, since in enumerate(self._since):
            if from_us <= since < to_us:
                self._modes[place] |= {None}

    def over(self, from_us: int, to_us: int) -> Modes:
        """Every mode that was possible at any instant of this time."""
        first = max(0, bisect_right(self._since, from_us) - 1)
        last = bisect_right(self._since, to_us)
        return frozenset().union(*self._modes[first : max(last, first + 1)])

    def spells(self, end_us: int) -> Iterator[Spell]:
        """All of it up to `end_us`, without gaps."""
        ends = [*self._since[1:], end_us]
        for since, end, modes in zip(self._since, ends, self._modes, strict=True):
            if since < min(end, end_us):
                yield Spell(since, min(end, end_us), modes)
