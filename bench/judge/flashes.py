"""What an indicator light shows: steady states and flash codes, read from its edges.

A streaming decoder, pure: edges in, what was shown out.  It knows the maker's
flash times as far as they are stated, and nothing of the board's modes.

1. A light on the mains goes dark in every cycle.  A gap shorter than
   `CHOPPED_US` counts as lit.
2. A run (a time lit or a time dark) shorter than a share of the shortest flash
   or gap is a glitch.  It is taken out once neither neighbour is shorter, so
   always the shortest first, and its neighbours become one run.
3. Runs between two pauses are a group; how many flashes it has is its code.
   What stands before the first pause is part of a group that nobody has seen
   whole, and is left out.
4. Lit for longer than any flash is steady, dark for longer than any pause is
   dark.
5. A group whose runs fit no flash and no gap is given out as undecided, never
   counted.

Where gap and pause are not stated, they are told apart by the widest step in
the lengths of the gaps seen so far.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import NamedTuple

from firmware_ref.parameters import DARK, STEADY, Interval, Light, flashes

#: Dark for less than this is a lit lamp on the mains: a cycle at 50 Hz takes 20 ms, and the fixture tells *off* late.
CHOPPED_US = 25_000
#: Share of the shortest flash or gap below which a run is a glitch: about a third of the nominal one at ±20 %.
GLITCH_SHARE = 0.45
#: Where the maker does not state both flash and gap: shorter runs are glitches.
UNSTATED_GLITCH_US = 60_000
#: Where no flash is stated, one is at most this long; where no pause is, so is that.
LONGEST_FLASH_US, LONGEST_PAUSE_US = 3_000_000, 6_000_000
#: How far a run may lie beyond what is stated: glitches beside an edge and a lamp on the mains move it.
SPARE, SPARE_US = 1.15, 60_000
#: Sorted gaps that step by more than this are gaps and pauses; jitter of ±20 % makes steps up to 1.5.
STEP = 1.6
#: There must be so many pauses, and so many gaps: one or two may have been cut short by a glitch or a change of code.
ALIKE, ALIKE_GAPS = 2, 3
#: So many groups may follow each other without a pause, as changes of mode break them off; where a code of one flash,
#: which has nothing but pauses, may be shown, fewer are waited for.
BROKEN_OFF = {False: 3, True: 2}
#: So many of the latest gaps are looked at.
REMEMBERED = 60
#: No code has more flashes.
MOST_FLASHES = 20


class Shown(NamedTuple):
    """What the light showed, from its first to its last edge, in us.

    `code`: `dark`, `steady`, `3 flashes`; None: a group that cannot be read.
    A flash code is one group; the same again is another.  `sure_us`: from when
    on it can be nothing else; a group's is where the gap behind it has become a
    pause.
    """

    from_us: int
    to_us: int
    code: str | None
    sure_us: int


def code_of(count: int) -> str:
    """The code of a group of so many flashes, as a profile writes it."""
    return "1 flash" if count == 1 else f"{count} flashes"


@dataclass(frozen=True, slots=True)
class Lengths:
    """What a run of the light can be by its length, from what the maker states."""

    light: Light

    @property
    def glitch_us(self) -> int:
        """Shorter is a glitch."""
        shares = [round(GLITCH_SHARE * s.min_us) for s in (self.light.on, self.light.off) if s is not None]
        return min(shares) if len(shares) == 2 else min([UNSTATED_GLITCH_US, *shares])

    @property
    def steady_us(self) -> int:
        """Lit for longer is steady."""
        on = self.light.on
        return LONGEST_FLASH_US if on is None else round(2 * on.max_us * SPARE) + SPARE_US

    @property
    def dark_us(self) -> int:
        """Dark for longer is dark."""
        pause = self.light.pause
        return LONGEST_PAUSE_US if pause is None else round(pause.max_us * SPARE) + SPARE_US

    @property
    def pause_us(self) -> int | None:
        """A gap of this length or longer is a pause; None: the maker does not say."""
        off, pause = self.light.off, self.light.pause
        if off is not None and pause is not None:
            return round(math.sqrt(off.max_us * pause.min_us))
        if off is not None:
            return round(1.2 * off.max_us) + SPARE_US
        return None if pause is None else round(pause.min_us / 1.2)

    @property
    def most(self) -> int:
        """No group has more flashes."""
        codes = self.light.codes.values()
        return MOST_FLASHES if None in codes else max((flashes(c) for c in codes if c is not None), default=0)

    @property
    def single(self) -> bool:
        """Whether a code may be of one flash."""
        codes = self.light.codes.values()
        return None in codes or code_of(1) in codes

    def longest_us(self, code: str) -> int | None:
        """How long one group of a code takes at most, with the pause behind it; None: not stated.

        Of a steady state: how long it lasts before it is known for one.
        """
        light = self.light
        if not flashes(code):
            return self.steady_us if code == STEADY else self.dark_us
        if light.on is None or light.off is None or light.pause is None:
            return None
        return flashes(code) * (light.on.max_us + light.off.max_us) + light.pause.max_us

    def flash(self, length_us: int) -> bool:
        return _fits(length_us, self.light.on)

    def gap(self, length_us: int) -> bool:
        return _fits(length_us, self.light.off)

    def pause(self, length_us: int) -> bool:
        """At least as long as a pause: it may also be the beginning of darkness."""
        pause = self.light.pause
        return pause is None or length_us >= pause.min_us / SPARE - SPARE_US


def _fits(length_us: int, span: Interval | None) -> bool:
    return span is None or span.min_us / 2 <= length_us <= span.max_us * SPARE + SPARE_US


@dataclass(slots=True)
class _Run:
    lit: bool
    from_us: int
    to_us: int

    @property
    def length_us(self) -> int:
        return self.to_us - self.from_us


@dataclass(slots=True)
class _Runs:
    """Edges in; runs out, without gaps of the mains and without glitches.  The last one goes on."""

    glitch_us: int
    open: list[_Run]
    _dark_us: int | None = None  # went dark then, perhaps only for a part of a cycle

    def edge(self, lit: bool, at_us: int) -> None:
        self.advance(at_us)
        last = self.open[-1]
        if not lit:
            if last.lit and self._dark_us is None:
                self._dark_us = at_us
        elif self._dark_us is not None:
            self._dark_us = None
        elif not last.lit:
            self.open.append(_Run(True, at_us, at_us))

    def advance(self, now_us: int) -> None:
        """Nothing but the edges so far has happened up to `now_us`."""
        last, to_us = self.open[-1], now_us
        if self._dark_us is not None:
            to_us = self._dark_us
            if now_us - to_us >= CHOPPED_US:
                last.to_us = to_us
                last, to_us = _Run(False, to_us, now_us), now_us
                self.open.append(last)
                self._dark_us = None
        if to_us > last.to_us:
            last.to_us = to_us
        if len(self.open) > 1:
            self._without_glitches()

    def _without_glitches(self) -> None:
        place = 0
        while place < len(self.open) - 1:
            run, after = self.open[place], self.open[place + 1]
            length_us = run.length_us
            if length_us >= self.glitch_us:
                place += 1
                continue
            before = self.open[place - 1] if place else None
            shortest = min(after.length_us, after.length_us if before is None else before.length_us)
            if length_us > shortest:
                place += 1
            elif before is None:  # where the watching began
                after.from_us = run.from_us
                del self.open[0]
            else:
                before.to_us = after.to_us
                del self.open[place : place + 2]
                place = 0

    def settled(self) -> list[_Run]:
        """The runs that nothing can change any more, taken away."""
        if len(self.open) == 1:
            return []
        done = 0
        while done < len(self.open) - 1 and self.open[done + 1].length_us >= self.glitch_us:
            done += 1
        taken, self.open = self.open[:done], self.open[done:]
        return taken


@dataclass(slots=True)
class FlashDecoder:
    """Edges in order of time in, `Shown` out.  `lit`: the light at `start_us`.

    A steady state is given out once, when it is over or at `end`; `present` is
    the one that lasts.
    """

    light: Light
    lit: bool
    start_us: int
    _lengths: Lengths = field(init=False)
    _pause_stated_us: int | None = field(init=False)
    _dark_after_us: int = field(init=False)
    _steady_after_us: int = field(init=False)
    _runs: _Runs = field(init=False)
    _waiting: list[_Run] = field(default_factory=list)
    _gaps: list[int] = field(default_factory=list)  # the latest lengths; only where no pause is stated
    _on_end: int = 0  # so many of them since the light was last steady or dark
    _group: list[_Run] = field(default_factory=list)  # since the last pause
    _after_pause: bool = False
    _told: bool = False  # the group before the gap that lasts
    _begun: bool = False  # a run has been seen from its beginning

    def __post_init__(self) -> None:
        self._lengths = Lengths(self.light)
        self._pause_stated_us = self._lengths.pause_us
        self._dark_after_us, self._steady_after_us = self._lengths.dark_us, self._lengths.steady_us
        self._runs = _Runs(self._lengths.glitch_us, [_Run(self.lit, self.start_us, self.start_us)])

    def edge(self, lit: bool, at_us: int) -> list[Shown]:
        """The light came on or went out at `at_us`."""
        self._runs.edge(lit, at_us)
        return self._read()

    def advance(self, now_us: int) -> list[Shown]:
        """The light has not changed up to `now_us`."""
        self._runs.advance(now_us)
        return self._read()

    def end(self, now_us: int) -> list[Shown]:
        """Nothing more comes: what is being shown steadily is given out as well.

        So is what stands behind a gap that may have been a pause: nothing will tell any more.
        """
        done = self.advance(now_us)
        while self._waiting:
            done += self._next(self._pause_us())
        last = self._spell(self._runs.open[0])  # whether a glitch follows it or not
        return done if last is None else [*done, last]

    @property
    def present(self) -> Shown | None:
        """The steady state that lasts; None: there is none that is sure."""
        first, *rest = self._runs.open
        # What has just begun may yet turn out to be a glitch.
        glitch = sum(run.length_us for run in rest) < self._lengths.glitch_us
        return self._spell(first) if glitch else None

    def _spell(self, run: _Run) -> Shown | None:
        limit_us = self._steady_after_us if run.lit else self._dark_after_us
        if run.to_us - run.from_us <= limit_us:
            return None
        return Shown(run.from_us, run.to_us, STEADY if run.lit else DARK, run.from_us + limit_us)

    def _read(self) -> list[Shown]:
        settled = self._runs.settled()
        if not settled and (self._told or self._runs.open[0].lit):
            return []
        learns = self._pause_stated_us is None
        for run in settled:
            self._waiting.append(run)
            if self._spell(run) is not None:
                self._on_end = 0
            elif learns and not run.lit and self._begun:
                self._gaps = [*self._gaps[1 - REMEMBERED :], run.length_us]
                self._on_end += 1
            self._begun = True
        found: list[Shown] = []
        pause_us = self._pause_us()
        while self._waiting and (
            self._waiting[0].lit or pause_us is not None or self._spell(self._waiting[0])
        ):
            found += self._next(pause_us)
        lasting = self._runs.open[0]
        if not self._waiting and not lasting.lit and not self._told and self._is_pause(lasting, pause_us):
            found += self._close(lasting, pause_us)
            self._told = True
        return found

    def _next(self, pause_us: int | None) -> list[Shown]:
        run = self._waiting.pop(0)
        return self._lit(run) if run.lit else self._dark(run, pause_us)

    def _pause_us(self) -> int | None:
        """How long a pause is at least; None: not to be told yet."""
        if self._pause_stated_us is not None or not self._gaps:
            return self._pause_stated_us
        lengths = sorted(self._gaps)
        found = [
            (lengths[at] / lengths[at - 1], math.sqrt(lengths[at - 1] * lengths[at]))
            for at in range(ALIKE_GAPS, len(lengths) - ALIKE + 1)
            if lengths[-1] <= STEP * lengths[at]  # pauses are alike; gaps may have been cut short
        ]
        step, between_us = max(found, default=(0.0, 0.0))
        if step > STEP:
            return round(between_us)
        # All of one length: pauses, if more of them follow each other than groups that break each other off have gaps.
        groups = BROKEN_OFF[self._lengths.single]
        alike = lengths[-1] <= STEP * lengths[0] and self._on_end >= groups * self._lengths.most + ALIKE
        return round(lengths[0] / STEP) if alike else None

    def _is_pause(self, run: _Run, pause_us: int | None) -> bool:
        return (pause_us is not None and run.length_us >= pause_us) or self._spell(run) is not None

    def _lit(self, run: _Run) -> list[Shown]:
        spell = self._spell(run)
        if spell is None:
            self._group.append(run)
            return []
        self._group, self._after_pause = [], False
        return [spell]

    def _dark(self, run: _Run, pause_us: int | None) -> list[Shown]:
        if not self._is_pause(run, pause_us):
            self._group.append(run)
            return []
        found = [] if self._told else self._close(run, pause_us)
        self._told = False
        spell = self._spell(run)
        return found if spell is None else [*found, spell]

    def _close(self, pause: _Run, pause_us: int | None) -> list[Shown]:
        """The group before a pause, if it was seen whole."""
        group, whole = self._group, self._after_pause
        self._group, self._after_pause = [], True
        if not whole or not group:
            return []
        lit, gaps = group[::2], group[1::2]
        sure_us = pause.from_us + min(pause.length_us, self._dark_after_us if pause_us is None else pause_us)
        known = (
            all(self._lengths.flash(r.length_us) for r in lit)
            and all(self._lengths.gap(r.length_us) for r in gaps)
            and len(lit) <= MOST_FLASHES
        )
        return [Shown(lit[0].from_us, lit[-1].to_us, code_of(len(lit)) if known else None, sure_us)]


def majority(shown: list[Shown]) -> str | None:
    """The one code of a light whose mode did not change: of its groups the most frequent; None: undecided.

    A flash code takes two groups, and more than half of all.
    """
    codes = [s.code for s in shown]
    if not codes:
        return None
    best = max(codes, key=codes.count)
    enough = codes.count(best) >= (2 if best is not None and flashes(best) else 1)
    return best if enough and 2 * codes.count(best) > len(codes) else None
