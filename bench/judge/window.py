"""Instants and windows with their uncertainty.

All times are true microseconds (fixture ticks corrected by the fitted rate).
A `Stamp` is an event that was seen: middle and half-width.  A `Limit` is an
edge of a window: where it lies when every stamp is taken at its middle
(`nominal_us`), and by how much it may lie elsewhere (`slack_us`, the half-width
of the stamp it counts from, `half_us`, and clock rate times duration, which is
the rest).  Ends belong to a window.
"""

from __future__ import annotations

from typing import Any, NamedTuple, TypeVar

from firmware_ref.parameters import Interval

_Tuple = TypeVar("_Tuple", bound=type[Any])


def quickly_replaced(cls: _Tuple) -> _Tuple:
    """Give a named tuple a `_replace` that costs less than half: the judge does little else."""
    places = {name: place for place, name in enumerate(cls._fields)}
    new = tuple.__new__

    def replace(self: Any, /, **changes: Any) -> Any:
        values = list(self)
        for name, value in changes.items():
            values[places[name]] = value
        return new(cls, values)

    cls._replace = replace
    return cls


class Stamp(NamedTuple):
    """An event known to lie within `mid_us` ± `half_us`."""

    mid_us: int
    half_us: int

    @property
    def earliest_us(self) -> int:
        return self.mid_us - self.half_us

    @property
    def latest_us(self) -> int:
        return self.mid_us + self.half_us


class Limit(NamedTuple):
    nominal_us: int
    slack_us: int
    half_us: int

    def plus(self, span_us: int, rate_ppm: int) -> Limit:
        """The limit moved by a duration, with the clock's share of its uncertainty."""
        rate_us = abs(span_us) * rate_ppm // 1_000_000
        return Limit(self.nominal_us + span_us, self.slack_us + rate_us, self.half_us)

    @property
    def clock_us(self) -> int:
        """The clock's share of the slack."""
        return self.slack_us - self.half_us

    @property
    def first_us(self) -> int:
        return self.nominal_us - self.slack_us

    @property
    def last_us(self) -> int:
        return self.nominal_us + self.slack_us


def limit_at(stamp: Stamp) -> Limit:
    return Limit(stamp.mid_us, stamp.half_us, stamp.half_us)


@quickly_replaced
class Window(NamedTuple):
    """When something may happen: not before `low`, not after `high` (None: never too late).

    `origin` is the stimulus that durations are measured from.  `causal`: the
    low end is only that an effect cannot precede its cause; no guard band
    belongs there.
    """

    low: Limit
    high: Limit | None
    origin: Stamp
    causal: bool = True

    def plus(self, span: Interval | None, rate_ppm: int) -> Window:
        """This window's instant, and then `span` (None: not stated, any time from 0 on)."""
        if span is None:
            return Window(self.low, None, self.origin, self.causal)
        return Window(
            self.low.plus(span.min_us, rate_ppm),
            None if self.high is None else self.high.plus(span.max_us, rate_ppm),
            self.origin,
            self.causal and span.min_us == 0,
        )

    @property
    def opens_us(self) -> int:
        """The earliest instant at which it may happen, uncertainty included."""
        return self.low.first_us

    @property
    def closes_us(self) -> int | None:
        """The latest instant, uncertainty included; None: never."""
        return None if self.high is None else self.high.last_us

    def open_after(self, t_us: int) -> bool:
        return self.high is None or self.high.last_us >= t_us

    def admits(self, stamp: Stamp) -> bool:
        """Whether an event with this stamp can lie in the window."""
        return stamp.latest_us >= self.low.first_us and (
            self.high is None or stamp.earliest_us <= self.high.last_us
        )

    def not_after(self, stamp: Stamp) -> Window:
        """The window cut off at an event."""
        if self.high is not None and self.high.last_us <= stamp.latest_us:
            return self
        limit = limit_at(stamp)
        low = self.low if self.low.first_us <= limit.first_us else limit
        return Window(low, limit, self.origin, self.causal)

    def not_before(self, limit: Limit) -> Window:
        if self.low.first_us >= limit.first_us:
            return self
        high = self.high
        if high is not None and high.last_us < limit.last_us:
            high = limit
        return Window(limit, high, self.origin, self.causal)

    def hull(self, other: Window) -> Window:
        """The least window that holds both."""
        low = min(self.low, other.low, key=lambda limit: limit.first_us)
        high = None
        if self.high is not None and other.high is not None:
            high = max(self.high, other.high, key=lambda limit: limit.last_us)
        origin = self.origin if high is self.high else other.origin
        return Window(low, high, origin, self.causal and other.causal)


def at(stamp: Stamp) -> Window:
    """The window of something that happens with an event."""
    limit = limit_at(stamp)
    return Window(limit, limit, stamp)


def earlier(a: Limit, b: Limit) -> Limit:
    """Whichever limit lies earlier, uncertainty included."""
    return a if a.last_us <= b.last_us else b


def later(a: Limit, b: Limit) -> Limit:
    """Whichever limit lies later, uncertainty included."""
    return a if a.last_us >= b.last_us else b
