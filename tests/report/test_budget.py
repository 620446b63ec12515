"""The uncertainty tables: every line is there and they add up."""

from __future__ import annotations

import re

from bench.judge.clock import EXACT, UNFITTED, fit
from bench.judge.findings import Finding, Judgement
from bench.report.budget import budget_lines
from tests.judge import full_run
from tests.judge.test_clock import samples


def judgement(*findings: Finding) -> Judgement:
    return Judgement("pass", "", findings, (), (), (), 1.0, "guarded")


def hold(**changes: object) -> Finding:
    figures: dict = {
        "measured": 365.0, "limits": (358.0, 372.25), "margin": 7.0, "conformance": 1.0,
        "bound": 0.0533, "half_widths": (0.0025, 0.004, 0.0468),
    }  # fmt: skip
    return Finding(
        "hold", None, "pass", 600.0, "Y went on 365.000 s after the signal went low", **figures | changes
    )


def test_every_source_has_its_line_and_they_add_up() -> None:
    clock = fit(samples(-4000, drift_ppm=10))
    text = budget_lines(judgement(hold()), clock)
    table = [re.split(r"  +", line.strip()) for line in text if "rectangular" in line or "  normal" in line]
    assert [row[0] for row in table] == [
        "stimulus, its stamp", "answer, its stamp", "computer's clock, rate",
        "fixture's clock, drift in the run", "clock fit, scatter of its samples", "clock fit, answers that come late",
    ]  # fmt: skip
    u_ms = [float(row[5].split()[0]) for row in table]
    total = re.search(r"u_c ([0-9.]+) ms", "\n".join(text))
    assert total is not None
    assert abs(sum(u * u for u in u_ms) ** 0.5 - float(total[1])) < 0.002


def test_the_clock_is_told() -> None:
    assert "runs -4000." in budget_lines(judgement(), fit(samples(-4000)))[0]
    assert "±5000 ppm" in budget_lines(judgement(), UNFITTED)[0]
    assert "exact" in budget_lines(judgement(), EXACT)[0]
    assert "Nothing was measured." in budget_lines(judgement(), EXACT)


def test_the_bound_where_it_is_less_than_k_u() -> None:
    text = "\n".join(budget_lines(judgement(hold(half_widths=(0.0, 0.004, 0.0), bound=0.004)), EXACT))
    assert "U 4.000 ms (the bound: k·u_c would be more), bound 4.000 ms" in text
    assert "false in 0.00 % of cases" in text


def test_a_signal_is_in_mv() -> None:
    pulled = Finding(
        "level", None, "fail", 3.0, "unit loads the sensor signal", measured=0.2, limits=(-0.02, 0.02), margin=-0.18,
        unit="V", bound=0.01, half_widths=(0.005, 0.005), conformance=0.0,
    )  # fmt: skip
    text = "\n".join(budget_lines(judgement(pulled), EXACT))
    assert "5.000 mV" in text and "probability of conformance 0.0000" in text


def test_each_measured_finding_of_a_run_has_its_table() -> None:
    judged = full_run.good_run().judge(full_run.END_S)
    text = budget_lines(judged, EXACT)
    assert sum("u_c " in line for line in text) == sum(f.measured is not None for f in judged.findings) > 10
