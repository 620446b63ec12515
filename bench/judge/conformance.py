"""Probability of conformance and guard bands, after JCGM 106.

A measured value stands for a normal distribution about it with standard
uncertainty u.  The same function gives the share of results that fall inside
an acceptance interval when the true value is known, so the risks of a decision
rule over many boards follow from it by integration (the tests do that against
published figures).
"""

from __future__ import annotations

import math
from statistics import NormalDist

_STANDARD = NormalDist()


def conformance(
    value: float, u: float, low: float | None = None, high: float | None = None, bound: float = math.inf
) -> float:
    """Probability, 0 to 1, that what was measured as `value` lies within [`low`, `high`] (None: open).

    `bound`: an error larger than this cannot be; the normal distribution is cut
    off there.  JCGM 106, 7.3 and 7.4 have none.
    """
    below = 0.0 if low is None else _beyond(value - low, u, bound)
    above = 0.0 if high is None else _beyond(high - value, u, bound)
    return min(1.0, max(0.0, 1.0 - below - above))


def _beyond(margin: float, u: float, bound: float) -> float:
    """Probability that the error exceeds the margin to a limit."""
    if margin >= bound:
        return 0.0
    if margin < -bound:
        return 1.0
    if u == 0:
        return 0.0 if margin >= 0 else 1.0
    cut = _STANDARD.cdf(-bound / u)
    return (_STANDARD.cdf(-margin / u) - cut) / (1 - 2 * cut)


def guard_band(u: float, risk: float) -> float:
    """How far inside a limit a result must be for at most `risk` of a false pass (JCGM 106, 8.3.2).

    `risk` is the specific risk, that of this one result; 0 < risk <= 0.5.
    """
    return -_STANDARD.inv_cdf(risk) * u


def false_pass_risk(guard: float, u: float, bound: float = math.inf) -> float:
    """The largest specific risk of a false pass when results must be inside a limit by `guard`.

    ILAC-G8 states its guard bands by this figure.
    """
    return _beyond(guard, u, bound)
