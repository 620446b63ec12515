"""What repeated measurements say of their source: mean, spread, and intervals for a normal source.

Exact for whole degrees of freedom: the chi-square probability is the finite sum
of Abramowitz and Stegun, Handbook of Mathematical Functions, 26.4.4 and 26.4.5.
tests/outside holds it, and the factors, to published figures.
"""

from __future__ import annotations

import statistics
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache
from math import erfc, exp, inf, sqrt

from bench.judge.uncertainty import student

#: Confidence of the intervals, and the share of the source that the tolerance interval covers.
CONFIDENCE = 0.95
CONTENT = 0.95

_NORMAL = statistics.NormalDist()
#: The tolerance factor's integral: Simpson's rule from 0 to 8 standard deviations of the mean.
_STEPS = 160
_FAR = 8.0


@dataclass(frozen=True, slots=True)
class Spread:
    """Of `count` values; each interval is (from, to).

    `mean_within`: the source's mean lies there with CONFIDENCE.  `tolerance`:
    CONTENT of all that the source gives lies there, with CONFIDENCE, if it is
    normal.
    """

    count: int
    mean: float
    deviation: float
    mean_within: tuple[float, float]
    tolerance: tuple[float, float]


def spread_of(values: Sequence[float]) -> Spread:
    """Of two values at least."""
    count, mean, deviation = len(values), statistics.fmean(values), statistics.stdev(values)
    return Spread(
        count,
        mean,
        deviation,
        mean_interval(count, mean, deviation, CONFIDENCE),
        _around(mean, tolerance_factor(count, CONTENT, CONFIDENCE) * deviation),
    )


def mean_interval(count: int, mean: float, deviation: float, confidence: float) -> tuple[float, float]:
    """The two-sided confidence interval of the mean of a normal source."""
    return _around(mean, student(confidence, count - 1) * deviation / sqrt(count))


@cache
def tolerance_factor(count: int, content: float, confidence: float) -> float:
    """How many deviations either side of the mean hold `content` of a normal source, with this confidence."""
    freedom, width = count - 1, _FAR / _STEPS
    points = [
        (weight * _NORMAL.pdf(z), _half_width(z / sqrt(count), content))
        for z, weight in (
            (n * width, 1 if n in (0, _STEPS) else 4 if n % 2 else 2) for n in range(_STEPS + 1)
        )
    ]

    def covered(factor: float) -> float:
        return (
            2
            * width
            / 3
            * sum(w * _chi_square_above(freedom * (r / factor) ** 2, freedom) for w, r in points)
        )

    return _root(lambda factor: covered(factor) - confidence)


def _around(middle: float, half: float) -> tuple[float, float]:
    return middle - half, middle + half


def _half_width(off: float, content: float) -> float:
    """Half of an interval `off` the middle of the standard normal source that holds `content` of it."""
    return _root(lambda r: _NORMAL.cdf(off + r) - _NORMAL.cdf(off - r) - content)


def _chi_square_above(x: float, freedom: int) -> float:
    if x <= 0:
        return 1.0
    if freedom % 2 == 0:
        term = total = exp(-x / 2)
        for r in range(1, freedom // 2):
            term *= x / 2 / r
            total += term
        return total
    total, term = erfc(sqrt(x / 2)), 2 * _NORMAL.pdf(sqrt(x)) * sqrt(x)
    for r in range(1, (freedom - 1) // 2 + 1):
        total += term
        term *= x / (2 * r + 1)
    return total


def _root(rising: Callable[[float], float]) -> float:
    """Where a function that rises from below 0 at 0 crosses it."""
    low, high = 0.0, 1.0
    while rising(high) < 0:
        low, high = high, 2 * high
        if high == inf:
            raise ValueError("no root")
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if rising(middle) < 0 else (low, middle)
    return high
