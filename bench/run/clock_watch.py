"""The fixture's clock against the host's, while a run is going on.

Takes samples at odd intervals, so that nothing periodic on the host can hide
in them, turns true time into the fixture's ticks for the waits, and says when
the clock cannot be trusted (the rules are `bench.judge.clock`'s).
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import cycle

from bench.errors import BenchFault
from bench.judge import clock
from bench.trace.records import Clock

#: Fixture time between samples, in us.  Dense at first, so that the rate is soon known; later about every 7 s.
FIRST_US = (
    300_000,
    500_000,
    700_000,
    1_100_000,
    1_300_000,
    1_700_000,
    2_300_000,
    3_100_000,
    4_300_000,
    5_300_000,
)
LATER_US = (6_700_000, 7_300_000, 6_100_000, 7_900_000, 7_100_000)
#: The rate is worked out anew at each of the first samples, later at every so many.
FIT_EVERY = 8


class ClockWatch:
    """Samples, rate and faults of one run's clock.

    `sample` None: the clock is exact (a dry run); no sample is ever due.
    """

    def __init__(self, sample: Callable[[], Clock] | None) -> None:
        self._sample = sample
        self._samples: list[Clock] = []
        self._intervals = iter((*FIRST_US, *LATER_US))
        self._later = cycle(LATER_US)
        self._fit = clock.EXACT if sample is None else clock.UNFITTED
        self.due_us: int | None = None if sample is None else 0

    def take(self) -> Clock:
        """One sample now; raises BenchFault if the clock cannot be trusted any more."""
        assert self._sample is not None
        taken = self._sample()
        self._samples.append(taken)
        self.due_us = taken.tick_us + next(self._intervals, next(self._later))
        if len(self._samples) <= len(FIRST_US) or len(self._samples) % FIT_EVERY == 0:
            self.check()
        return taken

    def check(self) -> None:
        """Work out the rate from all samples; raises BenchFault, one sentence."""
        if self._sample is None:
            return
        wrong = clock.fault(self._samples)
        if wrong is not None:
            raise BenchFault(wrong)
        self._fit = clock.fit(self._samples)

    def ticks(self, true_us: int, surely: bool) -> int:
        """The fixture's ticks for a span of true time; `surely`: at least that long at the worst known rate."""
        ticks = true_us / self._fit.slope
        return round(ticks * (1 + self._fit.rate_ppm / 1e6) if surely else ticks)
