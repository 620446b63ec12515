"""The arithmetic of an uncertainty budget, after JCGM 100 (GUM).

A budget is a table of lines; each says where an uncertainty comes from and what
it does to the result.  Combined as the root of the sum of squares (5.1.2),
effective degrees of freedom by Welch and Satterthwaite (G.4.1), coverage
factor from Student's distribution.  Checked in the tests against GUM H.1.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache
from statistics import NormalDist
from typing import NamedTuple

from bench.judge.window import quickly_replaced

#: Level of confidence of an expanded uncertainty: what k = 2 gives where the degrees of freedom are infinite.
CONFIDENCE = 2 * NormalDist().cdf(2.0) - 1
#: From here on Student's quantile is taken from its expansion about the normal one (relative error below 1e-9).
_MANY = 200


@quickly_replaced
class Line(NamedTuple):
    """One source.  `half_width` and `standard` (its standard uncertainty) are in `unit`;
    `sensitivity` is in the result's unit per `unit`; `dof` are the degrees of freedom."""

    source: str
    distribution: str
    half_width: float
    unit: str
    standard: float
    dof: float = math.inf
    sensitivity: float = 1.0

    @property
    def u(self) -> float:
        """What the line adds to the result's standard uncertainty, in the result's unit."""
        return abs(self.sensitivity) * self.standard


def rectangular(source: str, half_width: float, unit: str, sensitivity: float = 1.0) -> Line:
    """A quantity known to lie within its half-width, anywhere (4.3.7): u = a/√3."""
    return Line(source, "rectangular", half_width, unit, half_width / math.sqrt(3), math.inf, sensitivity)


def normal(source: str, standard: float, unit: str, dof: float = math.inf, sensitivity: float = 1.0) -> Line:
    """A quantity known by its standard uncertainty; the half-width is that of `CONFIDENCE`."""
    half_width = student(CONFIDENCE, dof) * standard
    return Line(source, "normal", half_width, unit, standard, dof, sensitivity)


class Budget(NamedTuple):
    """The table and what it comes to, in the result's unit.

    `expanded` is k·u_c but never more than `bound`, the sum of the half-widths.
    """

    lines: tuple[Line, ...]
    combined: float
    dof: float
    k: float
    expanded: float
    bound: float


def combine(lines: Sequence[Line], bound: float = math.inf, confidence: float = CONFIDENCE) -> Budget:
    """Combine independent lines."""
    squares = fourths = 0.0
    for line in lines:
        square = (line.sensitivity * line.standard) ** 2
        squares += square
        if line.dof != math.inf:
            fourths += square * square / line.dof
    combined = math.sqrt(squares)
    dof = squares * squares / fourths if fourths else math.inf
    k = student(confidence, dof)
    return Budget(tuple(lines), combined, dof, k, min(k * combined, bound), bound)


def student(confidence: float, dof: float) -> float:
    """The two-sided quantile of Student's distribution; `dof` is truncated to an integer (G.4.1)."""
    if dof >= 1e9:
        return _normal(confidence)
    return _student(confidence, max(1, math.floor(dof)))


@lru_cache(maxsize=64)
def _normal(confidence: float) -> float:
    return 2.0 if confidence == CONFIDENCE else NormalDist().inv_cdf((1 + confidence) / 2)


@lru_cache(maxsize=1024)
def _student(confidence: float, dof: int) -> float:
    if dof > _MANY:
        z = _normal(confidence)
        first = (z**3 + z) / 4
        second = (5 * z**5 + 16 * z**3 + 3 * z) / 96
        third = (3 * z**7 + 19 * z**5 + 17 * z**3 - 15 * z) / 384
        return z + first / dof + second / dof**2 + third / dof**3
    low, high = 0.0, 1.0
    while _inside(high, dof) < confidence:
        high *= 2
    while high - low > 1e-12 * high:
        middle = (low + high) / 2
        low, high = (middle, high) if _inside(middle, dof) < confidence else (low, middle)
    return high


def _inside(t: float, dof: int) -> float:
    """Probability that |T| < t: the finite series for whole degrees of freedom."""
    angle = math.atan(t / math.sqrt(dof))
    cos2 = math.cos(angle) ** 2
    odd = dof % 2
    term = math.cos(angle) if odd else 1.0
    total = 0.0
    for n in range(1 + odd, dof, 2):
        total += term
        term *= cos2 * n / (n + 1)
    series = math.sin(angle) * total
    return 2 / math.pi * (angle + series) if odd else series
