"""The uncertainty of every measurement as a table: what `mitbench judge --budget` prints.

Figures are in ms, those of a signal in mV.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

from bench.judge.budget import budget_of
from bench.judge.clock import ClockFit
from bench.judge.conformance import false_pass_risk
from bench.judge.findings import Finding, Judgement
from bench.judge.uncertainty import Budget, Line
from bench.report import wording

HEADS = ("source", "distribution", "half-width", "sensitivity", "dof", "u")


def budget_lines(judgement: Judgement, clock: ClockFit) -> list[str]:
    """The clock, then each measured finding with its table; `clock` is the one the trace was judged by."""
    lines = list(_clock(clock))
    measured = [(f, b) for f in judgement.findings if (b := budget_of(f, clock)) is not None]
    if not measured:
        lines += ["", "Nothing was measured."]
    for number, (finding, budget) in enumerate(measured, 1):
        lines += ["", *_finding(number, finding, budget, judgement.decision)]
    return lines


def _clock(clock: ClockFit) -> Iterator[str]:
    if clock.fitted and not clock.parts:
        yield "Clock: exact, as the trace says."
        return
    if not clock.fitted:
        yield f"Clock: not compared with the computer's; its rate is taken as known to ±{clock.rate_ppm} ppm."
        return
    off_ppm = (1 / clock.slope - 1) * 1e6
    yield f"Clock: the fixture's runs {off_ppm:+.1f} ppm against the computer's; rate known to ±{clock.rate_ppm} ppm."
    drift = "drift not known"
    if clock.drift_ppm is not None:
        drift = f"its drift over the run {-clock.drift_ppm:+.2f} ppm (u {clock.drift_u_ppm:.2f} ppm)"
    yield f"Fit of {clock.samples} samples: u of the slope {clock.slope_u_ppm:.3f} ppm; {drift}."


def _finding(number: int, finding: Finding, budget: Budget, decision: str) -> Iterator[str]:
    unit = "m" + finding.unit
    yield f"{number}. {finding.requirement}, {wording.where(finding)}: {wording.kind_words(finding)}"
    yield f"   {wording.clean(finding.text)}"
    rows = [HEADS, *(_row(line, unit) for line in budget.lines)]
    yield from (f"   {line}" for line in wording.columns(rows, left=(0, 1)))
    capped = " (the bound: k·u_c would be more)" if budget.k * budget.combined > budget.bound else ""
    yield (
        f"   u_c {_milli(budget.combined)} {unit}, dof {_dof(budget.dof)}, k {budget.k:.2f}, "
        f"U {_milli(budget.expanded)} {unit}{capped}, bound {_milli(budget.bound)} {unit}"
    )
    said = []
    if finding.margin is not None:
        said.append(f"margin {1e3 * finding.margin:+.3f} {unit}")
    if finding.conformance is not None:
        said.append(f"probability of conformance {finding.conformance:.4f}")
    if decision == "guarded":
        risk = false_pass_risk(budget.expanded, budget.combined, budget.bound)
        said.append(f"a pass at the edge of its guard band is false in {100 * risk:.2f} % of cases")
    if said:
        yield "   " + "; ".join(said)


def _row(line: Line, unit: str) -> tuple[str, ...]:
    if line.unit == "ppm":
        half_width, sensitivity = f"{line.half_width:.3f} ppm", f"{_milli(line.sensitivity)} {unit}/ppm"
    else:
        half_width, sensitivity = f"{_milli(line.half_width)} {unit}", f"{line.sensitivity:g}"
    return line.source, line.distribution, half_width, sensitivity, _dof(line.dof), f"{_milli(line.u)} {unit}"


def _milli(value: float) -> str:
    return f"{1e3 * value:.3f}"


def _dof(value: float) -> str:
    return "inf" if value == math.inf or value >= 1e6 else f"{value:.0f}"
