"""Spans of time in whole steps, and counts of steps."""

from __future__ import annotations

from typing import NamedTuple

#: A limit that is not stated: never too late.
FOREVER = 1_000_000


class Span(NamedTuple):
    least: int
    most: int

    def after(self, steps: int) -> Span:
        """What is left of it when `steps` have passed."""
        return Span(max(0, self.least - steps), less(self.most, steps))


ANY = Span(0, FOREVER)


def less(count: int, by: int = 1) -> int:
    return count if count >= FOREVER else max(0, count - by)


def more(count: int | None, span: Span, beyond: int = 0) -> int | None:
    """One step more, counted no further than it matters to `span`."""
    if count is None:
        return None
    return min(count + 1, span.most + beyond if span.most < FOREVER else span.least)
