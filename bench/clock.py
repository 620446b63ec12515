"""The only module that reads a clock or sleeps.

Everything else is given one of these.  `now_us` counts from an arbitrary
zero and never goes back.
"""

from __future__ import annotations

import time
from datetime import datetime, timezone
from typing import Protocol

_RAW = getattr(time, "CLOCK_MONOTONIC_RAW", None)


class Clock(Protocol):
    """Time as an object: read it, or let some of it pass."""

    def now_us(self) -> int: ...

    def sleep_us(self, span_us: int) -> None: ...


class SystemClock:
    """The computer's own clock, as raw as it gives it: no time server bends its rate where the system allows that."""

    def now_us(self) -> int:
        if _RAW is not None:
            return time.clock_gettime_ns(_RAW) // 1000
        return time.monotonic_ns() // 1000

    def sleep_us(self, span_us: int) -> None:
        time.sleep(span_us / 1e6)

    def wall(self) -> datetime:
        """Date and time of day, UTC; for names and headers, never for a measurement."""
        return datetime.now(timezone.utc)


class ScaledClock:
    """Another clock, `factor` times as fast: what the host compares a simulated fixture of that speed with."""

    def __init__(self, clock: Clock, factor: float) -> None:
        self._clock = clock
        self._factor = factor

    def now_us(self) -> int:
        return round(self._clock.now_us() * self._factor)

    def sleep_us(self, span_us: int) -> None:
        self._clock.sleep_us(round(span_us / self._factor))


class VirtualClock:
    """Stands still but for `sleep_us`."""

    def __init__(self, now_us: int = 0) -> None:
        self._now_us = now_us

    def now_us(self) -> int:
        return self._now_us

    def sleep_us(self, span_us: int) -> None:
        self._now_us += span_us
