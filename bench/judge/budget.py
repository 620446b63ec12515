"""One measured interval against its limits: bound, expanded uncertainty, decision.

Bound: the sum of the half-widths, never exceeded.  Uncertainty budget after
JCGM 100 (GUM): each half-width is a rectangular distribution (u = a/√3,
sensitivity 1, infinite degrees of freedom), combined as the root of the sum of
squares, k = 2, and never stated larger than the bound.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from bench.judge.window import Limit, Stamp, Window

COVERAGE_K = 2.0


def expanded_us(squares: int, bound_us: int) -> float:
    """U in us from the sum of squared half-widths; k·u_c, at most the bound."""
    return min(COVERAGE_K * math.sqrt(squares / 3.0), float(bound_us))


@dataclass(frozen=True, slots=True)
class Measurement:
    """An event inside, outside or at the edge of its window.

    `verdict`: pass, inconclusive or fail; `kind`: too-early or too-late where
    it is outside.  `margin_us` is the distance to the nearer limit, negative
    outside.  Limits are durations since the window's origin.
    """

    verdict: str
    kind: str | None
    measured_us: int
    low_us: int | None
    high_us: int | None
    margin_us: int | None
    bound_us: int
    expanded_us: float


def measure(window: Window, stamp: Stamp, decision: str) -> Measurement:
    """Decide one event.  `decision`: `guarded` (pass needs inside by U) or `simple`.

    `simple` lets the limit itself decide, so it may fail a good board.
    """
    low_margin = None if window.causal else stamp.mid_us - window.low.nominal_us
    high_margin = None if window.high is None else window.high.nominal_us - stamp.mid_us
    nearer = (
        window.low
        if high_margin is None or (low_margin is not None and low_margin < high_margin)
        else window.high
    )
    assert nearer is not None
    bound, wide = _spread(nearer, stamp)
    verdict, kind = "pass", None
    for margin, limit, side in (
        (low_margin, window.low, "too-early"),
        (high_margin, window.high, "too-late"),
    ):
        if margin is None or limit is None:
            continue
        side_bound, side_wide = _spread(limit, stamp)
        if decision == "simple":
            side_verdict = "pass" if margin >= 0 else "fail"
        else:
            side_verdict = (
                "pass" if margin >= side_wide else "fail" if -margin > side_bound else "inconclusive"
            )
        if side_verdict != "pass" and verdict != "fail":
            verdict, kind = side_verdict, side
            bound, wide = side_bound, side_wide
    margins = [m for m in (low_margin, high_margin) if m is not None]
    return Measurement(
        verdict=verdict,
        kind=kind if verdict == "fail" else None,
        measured_us=stamp.mid_us - window.origin.mid_us,
        low_us=None if window.causal else window.low.nominal_us - window.origin.mid_us,
        high_us=None if window.high is None else window.high.nominal_us - window.origin.mid_us,
        margin_us=min(margins) if margins else None,
        bound_us=bound,
        expanded_us=wide,
    )


def _spread(limit: Limit, stamp: Stamp) -> tuple[int, float]:
    bound = limit.slack_us + stamp.half_us
    return bound, expanded_us(limit.squares + stamp.half_us**2, bound)
