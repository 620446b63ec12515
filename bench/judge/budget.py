"""One measured interval against its limits: bound, expanded uncertainty, decision.

Bound: the sum of the half-widths, never exceeded.  Uncertainty: a budget after
JCGM 100 (`bench.judge.uncertainty`) whose lines are the two stamps, each
anywhere in its half-width, and the clock's rate times the duration, part by
part as the clock fit gives them.  U is k·u_c and never stated larger than the
bound.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

from bench.judge.clock import ClockFit
from bench.judge.conformance import conformance
from bench.judge.findings import Finding
from bench.judge.uncertainty import Budget, Line, combine, rectangular
from bench.judge.window import Limit, Stamp, Window

#: What the half-widths of a finding belong to, in their order; in s and in V.
_INTERVAL = ("stimulus, its stamp", "answer, its stamp")
_SIGNAL = ("signal source, ahead of the resistor", "signal source, at the board")
_LEVEL = (
    "step of the staircase", "settling of the signal", "signal source, at the board", "the board's sensor supply"
)  # fmt: skip


def interval_budget(half_widths: Sequence[float], clock: ClockFit | None, unit: str = "us") -> Budget:
    """The budget of an interval, in `unit` (us, ms or s).

    `half_widths`: of the stimulus's stamp, of the answer's, and what the clock's
    rate makes of the duration.  `clock` None: its rate is one line, anywhere in
    that half-width.
    """
    stimulus, answer, share = half_widths
    lines = [rectangular(_INTERVAL[0], stimulus, unit), rectangular(_INTERVAL[1], answer, unit)]
    if share and clock is not None and clock.parts:
        per_ppm = share / clock.rate_ppm
        lines += [part._replace(sensitivity=per_ppm) for part in clock.parts]
    elif share:
        lines.append(rectangular("clock, rate times duration", share, unit))
    return combine(lines, stimulus + answer + share)


def signal_budget(half_widths: Sequence[float]) -> Budget:
    """The budget of the voltage between both sides of the series resistor, in V."""
    lines: list[Line] = [rectangular(source, a, "V") for source, a in zip(_SIGNAL, half_widths, strict=False)]
    return combine(lines, sum(half_widths))


def level_budget(half_widths: Sequence[float], unit: str) -> Budget:
    """The budget of a switching level, in `unit`.

    `half_widths`: half the step it lies in, what the signal still settled by,
    the signal source, and where it is ratiometric the board's sensor supply.
    """
    lines = [rectangular(source, a, unit) for source, a in zip(_LEVEL, half_widths, strict=False)]
    return combine(lines, sum(half_widths))


def budget_of(finding: Finding, clock: ClockFit) -> Budget | None:
    """The budget behind a finding's bound and U, in its unit; None where nothing was measured.

    `clock` is the fit that the finding was judged with.
    """
    if finding.half_widths is None:
        return None
    if finding.unit == "V":
        return signal_budget(finding.half_widths)
    if finding.unit == "%LFL":
        return level_budget(finding.half_widths, finding.unit)
    return interval_budget(finding.half_widths, clock, finding.unit)


class Measurement(NamedTuple):
    """An event inside, outside or at the edge of its window.

    `verdict`: pass, inconclusive or fail; `kind`: too-early or too-late where
    it is outside.  `margin_us` is the distance to the nearer limit, negative
    outside.  Limits are durations since the window's origin.  `conformance`:
    the probability that the true value is within the limits; None without any.
    """

    verdict: str
    kind: str | None
    measured_us: int
    low_us: int | None
    high_us: int | None
    margin_us: int | None
    bound_us: int
    expanded_us: float
    half_widths_us: tuple[int, int, int]
    conformance: float | None

    @property
    def limits_s(self) -> tuple[float | None, float | None]:
        """The limits as durations since the window's origin, in s."""
        return (
            None if self.low_us is None else self.low_us / 1e6,
            None if self.high_us is None else self.high_us / 1e6,
        )

    def figures(self) -> dict[str, Any]:
        """What a finding says of it, in s."""
        return {
            "measured": self.measured_us / 1e6,
            "bound": self.bound_us / 1e6,
            "uncertainty": round(self.expanded_us) / 1e6,
            "half_widths": tuple(half_us / 1e6 for half_us in self.half_widths_us),
            "conformance": self.conformance,
        }


def measure(window: Window, stamp: Stamp, decision: str, clock: ClockFit | None = None) -> Measurement:
    """Decide one event.  `decision`: `guarded` (pass needs inside by U) or `simple`.

    `simple` lets the limit itself decide, so it may fail a good board.  `clock`
    is the fit whose rate the window was widened by.
    """
    low_margin = None if window.causal else stamp.mid_us - window.low.nominal_us
    high_margin = None if window.high is None else window.high.nominal_us - stamp.mid_us
    near = (
        window.low
        if high_margin is None or (low_margin is not None and low_margin < high_margin)
        else window.high
    )
    assert near is not None
    verdict, kind = "pass", None
    for margin, limit, side in (
        (low_margin, window.low, "too-early"),
        (high_margin, window.high, "too-late"),
    ):
        if margin is None or limit is None:
            continue
        side_verdict = _decide(margin, limit, stamp, decision, clock)
        if side_verdict != "pass" and verdict != "fail":
            verdict, kind, near = side_verdict, side, limit
    half_widths = (near.half_us, stamp.half_us, near.clock_us)
    budget = interval_budget(half_widths, clock)
    margins = [m for m in (low_margin, high_margin) if m is not None]
    low_us = None if window.causal else window.low.nominal_us - window.origin.mid_us
    high_us = None if window.high is None else window.high.nominal_us - window.origin.mid_us
    measured_us = stamp.mid_us - window.origin.mid_us
    return Measurement(
        verdict=verdict,
        kind=kind if verdict == "fail" else None,
        measured_us=measured_us,
        low_us=low_us,
        high_us=high_us,
        margin_us=min(margins) if margins else None,
        bound_us=sum(half_widths),
        expanded_us=budget.expanded,
        half_widths_us=half_widths,
        conformance=conformance(measured_us, budget.combined, low_us, high_us, budget.bound)
        if margins
        else None,
    )


def _decide(margin_us: int, limit: Limit, stamp: Stamp, decision: str, clock: ClockFit | None) -> str:
    if decision == "simple":
        return "pass" if margin_us >= 0 else "fail"
    bound_us = limit.slack_us + stamp.half_us
    if margin_us >= bound_us:  # U is never more
        return "pass"
    if -margin_us > bound_us:
        return "fail"
    budget = interval_budget((limit.half_us, stamp.half_us, limit.clock_us), clock)
    return "pass" if margin_us >= budget.expanded else "inconclusive"
