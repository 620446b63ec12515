"""The board's qualification timers: how long a condition has to hold without a break.

A timer belongs to the instant its condition began; when that instant is
another one, the condition broke in between and the timer is drawn anew.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from bench.simulated.draw import Draw
from bench.simulated.flaws import Flaws
from bench.simulated.traits import Spans
from firmware_ref.parameters import Interval


@dataclass(slots=True)
class Timer:
    """`since_us`: the condition began.  `anchor_us`: the timer began.  `due_us`: it is over.

    `earliest_us` and `latest_us`: between which instants the profile lets it begin.
    """

    since_us: int
    anchor_us: int
    due_us: int
    earliest_us: int
    latest_us: int


class Timers:
    """All running qualifications by name: trip, clear, loss, return."""

    def __init__(self, spans: Spans, draw: Draw, *, latency_us: int, flaws: Flaws) -> None:
        """`latency_us`: what scan and relay add at most."""
        self._spans = spans
        self._draw = draw
        self._latency_us = latency_us
        self._slow_trip_us = flaws.slow_trip_us
        self._clears_at_once = flaws.clears_at_once
        self._spent_us = dict.fromkeys(flaws.accumulates, 0)  # in tries that broke off
        self._running: dict[str, Timer] = {}

    def drop(self, *names: str) -> None:
        """Forget the named timers; without names all."""
        for name in names or tuple(self._running):
            self._running.pop(name, None)
        if not names:
            self._spent_us = dict.fromkeys(self._spent_us, 0)

    def dues(self) -> Iterator[int]:
        return (t.due_us for t in self._running.values())

    def begin_by(self, now_us: int) -> None:
        """What was to begin later begins now."""
        for timer in self._running.values():
            early_us = max(0, timer.anchor_us - now_us)
            timer.anchor_us -= early_us
            timer.due_us -= early_us

    def restart(self, name: str, since_us: int, now_us: int) -> None:
        """Run `name` from `now_us` for a condition that began at `since_us`."""
        timer = self._new(name, now_us, now_us)
        timer.since_us = since_us
        self._running[name] = timer

    def over(
        self,
        name: str,
        since_us: int | None,
        now_us: int,
        begins: Callable[[int], tuple[int, int]] | None = None,
    ) -> Timer | None:
        """The timer `name` of the condition that holds since `since_us` (None: does not), if it is over.

        `begins` gives the span in which a new timer may start for a condition
        that began at the given instant; without it the timer starts there.
        """
        if since_us is None:
            broken = self._running.pop(name, None)
            if name in self._spent_us and broken is not None and now_us < broken.due_us:
                self._spent_us[name] += max(0, now_us - broken.anchor_us)
            return None
        timer = self._running.get(name)
        if timer is None or timer.since_us != since_us:
            earliest, latest = begins(since_us) if begins else (since_us, since_us)
            timer = self._running[name] = self._new(name, earliest, latest)
            timer.since_us = since_us
            if name in self._spent_us:
                timer.due_us = max(timer.anchor_us, timer.due_us - self._spent_us[name])
        if now_us < timer.due_us:
            return None
        if name in self._spent_us:
            self._spent_us[name] = 0
        return timer

    def _new(self, name: str, earliest_us: int, latest_us: int) -> Timer:
        anchor = self._draw.between(earliest_us, max(earliest_us, latest_us))
        return Timer(
            earliest_us, anchor, anchor + self._duration(name), earliest_us, max(earliest_us, latest_us)
        )

    def _duration(self, name: str) -> int:
        spans = self._spans
        if name == "trip" and self._slow_trip_us is not None:
            return spans.trip.max_us + self._slow_trip_us - self._latency_us
        if name == "clear" and self._clears_at_once:
            return 0
        span, judged = {
            "trip": (spans.trip, spans.trip.max_us),
            "loss": (spans.loss, spans.loss.max_us),
            "return": (spans.return_, spans.return_.max_us + spans.react_max_us),
            "clear": (spans.clear, spans.release_us),
        }[name]
        return self._draw_of(span, judged)

    def _draw_of(self, span: Interval, judged_us: int) -> int:
        return self._draw.span(span, judged_us, spare_us=self._latency_us)
