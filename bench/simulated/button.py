"""The service button as the board's program reads it: presses, gestures, and what they ask for.

Written from the words of the required behaviour, apart from the judge.  Each
press is debounced, each time drawn anew from the profile's intervals.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from bench.simulated.draw import Draw
from bench.simulated.flaws import Flaws
from firmware_ref.parameters import Button, Gesture, Interval


@dataclass(slots=True)
class _Group:
    """Presses that may belong together.  `closes_us`: no further one does from then on."""

    first_us: int
    closes_us: int
    within_us: dict[str, int]
    presses: int = 0
    last_begin_us: int = 0
    last_end_us: int = 0


@dataclass(slots=True)
class ButtonProgram:
    """The contact's edges go in; `scan` gives the actions that are due, with the instant they fell due."""

    button: Button
    draw: Draw
    latency_us: int
    flaws: Flaws
    _closed: bool = False
    _pressed: bool = False
    _turn_us: int | None = None  # when the contact's new position counts
    _edge_us: int = 0
    _begin_us: int = 0
    _limits_us: dict[str, int] = field(default_factory=dict)  # of the long presses, for this press
    _held: list[str] = field(default_factory=list)  # long presses already answered in this press
    _group: _Group | None = None
    _due: list[tuple[int, str]] = field(default_factory=list)
    _at_once: bool = False
    _on_release: bool = False
    _to_the_end: bool = False

    def __post_init__(self) -> None:
        # What the words leave to the maker.
        self._at_once, self._on_release, self._to_the_end = (self.draw.flip() for _ in range(3))

    def reset(self) -> None:
        """The program starts, or its supply is gone."""
        self._pressed, self._group, self._held = False, None, []
        self._due.clear()
        self._turn_us = None

    def start(self, at_us: int) -> None:
        self.reset()
        if self._closed:
            self.contact(True, at_us)

    def contact(self, closed: bool, at_us: int, *, alive: bool = True) -> None:
        """The contact closes or opens."""
        if alive:
            self._catch_up(at_us)  # what was closed for long enough counts, though no scan has come
        self._closed = closed
        if not alive or self.flaws.button_dead:
            return
        if closed is self._pressed:
            self._turn_us = None  # too short to be noticed
            return
        self._edge_us = at_us
        self._turn_us = at_us + self._span(self.button.press)

    def dues(self) -> Iterator[int]:
        """Instants at which a scan may find something to do."""
        yield from self._steps()
        yield from (at_us for at_us, _ in self._due)

    def _steps(self) -> Iterator[int]:
        """When something is next to be known of what is pressed."""
        if self._turn_us is not None:
            yield self._turn_us
        if self._pressed and not self._on_release:
            yield from (self._begin_us + us for a, us in self._limits_us.items() if a not in self._held)
        if self._group is not None and not self._pressed:
            yield self._group.closes_us

    def scan(self, now_us: int) -> list[tuple[int, str]]:
        """What is to be done now."""
        self._catch_up(now_us)
        ready = sorted(d for d in self._due if d[0] <= now_us)
        self._due = [d for d in self._due if d[0] > now_us]
        return ready

    # -- inside -------------------------------------------------------------------------------

    def _catch_up(self, now_us: int) -> None:
        while (at_us := min(self._steps(), default=now_us + 1)) <= now_us:
            self._step(at_us)

    def _step(self, at_us: int) -> None:
        if self._pressed and not self._on_release:
            ended_us = self._edge_us if self._turn_us is not None else None
            for action, us in self._limits_us.items():
                reached_us = self._begin_us + us
                if action not in self._held and reached_us <= at_us:
                    self._held.append(action)
                    if ended_us is None or reached_us <= ended_us:
                        self._long(action, reached_us)
        if self._turn_us is not None and self._turn_us <= at_us:
            self._turn_us = None
            self._pressed = self._closed
            if self._pressed:
                self._begun(self._edge_us)
            else:
                self._ended(self._edge_us)
        group = self._group
        if group is None or self._pressed or group.closes_us > at_us:
            return
        if self._turn_us is not None and self._edge_us <= group.closes_us:
            group.closes_us = self._turn_us  # about to count as pressed, and belongs to it
            return
        self._group = None
        self._count(group, max(group.closes_us, group.last_end_us))

    def _begun(self, at_us: int) -> None:
        self._begin_us, self._held = at_us, []
        self._limits_us = {
            a: self._limit(g.press) for a, g in self.button.gestures.items() if g.press is not None
        }
        group = self._group
        if group is not None and group.closes_us < at_us:
            self._group = None
            self._count(group, group.closes_us)
            group = None
        if group is None:
            within = {
                a: self._span(g.within) for a, g in self.button.gestures.items() if g.within is not None
            }
            longest = max(within.values(), default=0)
            group = self._group = _Group(at_us, at_us + longest, within)
        group.presses += 1
        group.last_begin_us = group.last_end_us = at_us

    def _ended(self, at_us: int) -> None:
        if self._on_release:
            passed = {a: us for a, us in self._limits_us.items() if at_us - self._begin_us >= us}
            if passed:
                self._long(max(passed, key=passed.__getitem__), at_us)
        group = self._group
        if group is None:
            return
        group.last_end_us = at_us
        most = max((g.presses for g in self.button.gestures.values() if g.press is None), default=0)
        if self._at_once and group.presses >= most:
            self._group = None
            self._count(group, at_us)

    def _long(self, action: str, at_us: int) -> None:
        self._group = None
        self._ask(action, at_us)

    def _count(self, group: _Group, at_us: int) -> None:
        for action, gesture in self.button.gestures.items():
            if gesture.press is None and self._fits(action, gesture, group):
                self._ask(action, at_us)

    def _fits(self, action: str, gesture: Gesture, group: _Group) -> bool:
        few = self.flaws.press_too_few and gesture.presses > 1 and group.presses == gesture.presses - 1
        if group.presses != gesture.presses and not few:
            return False
        last_us = group.last_end_us if self._to_the_end else group.last_begin_us
        return action not in group.within_us or last_us - group.first_us <= group.within_us[action]

    def _ask(self, action: str, at_us: int) -> None:
        acts = self.button.acts
        self._due.append((at_us + self.draw.span(acts, acts.max_us, spare_us=self.latency_us), action))

    def _limit(self, span: Interval) -> int:
        drawn = self._span(span)
        # A press too short by more than the judge's bounds counts.
        return drawn * 4 // 5 if self.flaws.press_too_short else drawn

    def _span(self, span: Interval) -> int:
        return self.draw.span(span, span.max_us)
