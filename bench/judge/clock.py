"""The fixture's clock against the host's.

Least squares of host time on fixture ticks.  A ceramic resonator may be 0.5 %
off; the fit finds the rate, the residuals show how well it is known.  What the
fit cannot show (the host's own rate, drift inside the run) are lines of their
own.  Source of the method: ordinary least squares, checked against NIST StRD
"Norris" and GUM H.3 in the tests.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from bench.trace.records import Clock

#: An uncalibrated host's raw clock (crystal, ±100 ppm at most).
HOST_PPM = 100
#: What the rate of the fixture's clock may change by within a run.
DRIFT_PPM = 30
#: A fixture whose rate was not measured: ceramic resonator, ±0.5 %.
UNFITTED_PPM = 5_000
#: A rate further off than this is no resonator's: the bench is broken.
LIMIT_PPM = 6_000
#: After this long a run must know its rate to `KNOWN_PPM`.
KNOWN_AFTER_US = 60_000_000
KNOWN_PPM = 200


@dataclass(frozen=True, slots=True)
class Line:
    """y = intercept + slope·(x − x_mean), with standard uncertainties."""

    x_mean: float
    intercept: float
    slope: float
    intercept_u: float
    slope_u: float
    residual_sd: float


def least_squares(x: Sequence[float], y: Sequence[float]) -> Line:
    """Straight line through at least three points with at least two different x.

    Raises ValueError where there are fewer.
    """
    n = len(x)
    if n < 3 or min(x) == max(x):
        raise ValueError("a line with its uncertainty needs three points and two different x")
    x_mean, y_mean = math.fsum(x) / n, math.fsum(y) / n
    sxx = math.fsum((xi - x_mean) ** 2 for xi in x)
    slope = math.fsum((xi - x_mean) * (yi - y_mean) for xi, yi in zip(x, y, strict=True)) / sxx
    rest = [yi - y_mean - slope * (xi - x_mean) for xi, yi in zip(x, y, strict=True)]
    sd = math.sqrt(math.fsum(r * r for r in rest) / (n - 2))
    return Line(x_mean, y_mean, slope, sd / math.sqrt(n), sd / math.sqrt(sxx), sd)


@dataclass(frozen=True, slots=True)
class ClockFit:
    """True time from ticks: `true = slope · tick`; the rate is known to ± `rate_ppm`."""

    slope: float
    rate_ppm: int
    fitted: bool
    samples: int = 0

    def true_us(self, tick_us: int) -> int:
        return round(tick_us * self.slope)


EXACT = ClockFit(1.0, 0, True)
UNFITTED = ClockFit(1.0, UNFITTED_PPM, False)


def fit(samples: Sequence[Clock]) -> ClockFit:
    """The rate of a run's clock samples; `UNFITTED` where they do not tell it better than ±0.5 %."""
    if len(samples) < 3 or samples[0].tick_us == samples[-1].tick_us:
        return UNFITTED
    line = least_squares(
        [float(s.tick_us) for s in samples],
        [(s.host_before_us + s.host_after_us) / 2 for s in samples],
    )
    # A late answer shifts the middle of its round trip by up to half of it.
    span_us = max(s.tick_us for s in samples) - min(s.tick_us for s in samples)
    trip_us = sorted(s.host_after_us - s.host_before_us for s in samples)[len(samples) // 2]
    known_ppm = 2e6 * line.slope_u + 1e6 * trip_us / span_us
    if known_ppm >= UNFITTED_PPM:
        return UNFITTED
    return ClockFit(line.slope, HOST_PPM + DRIFT_PPM + math.ceil(known_ppm), True, len(samples))


def fault(samples: Sequence[Clock]) -> str | None:
    """What is wrong with a live run's clock, in one sentence, or None."""
    for before, after in pairwise(samples):
        if after.tick_us < before.tick_us:
            return "the fixture's clock went back; it was reset or its answers are damaged"
    found = fit(samples)
    if found.fitted and abs(found.slope - 1) * 1e6 > LIMIT_PPM:
        return (
            f"the fixture's clock is {(1 / found.slope - 1) * 100:+.2f} % off, more than ±0.6 %; "
            "check the fixture's resonator"
        )
    ran_us = samples[-1].tick_us - samples[0].tick_us if samples else 0
    if ran_us > KNOWN_AFTER_US and found.rate_ppm - HOST_PPM - DRIFT_PPM > KNOWN_PPM:
        return "the fixture's clock could not be compared with the computer's to 200 ppm within 60 s"
    return None
