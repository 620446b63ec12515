"""The guarded decision against ILAC-G8 figures.

Source: ILAC-G8:09/2019 as quoted in laboratories' decision-rule statements:
with a guard band of w = U (k = 2) the risk of a false pass is below 2.5 % (exactly
Phi(-2) = 2.275 %), with none it is up to 50 %.  Checked by drawing from the
distribution that the rule assumes, not from our own formulas.
"""

from __future__ import annotations

import random

import pytest

from bench.judge.budget import interval_budget, measure
from bench.judge.window import Limit, Stamp, Window

HALVES_US = (20_000, 20_000, 20_000)


def share_passed(true_us: float, decision: str) -> float:
    """Share of passes for results scattered about `true_us` as the budget's u says, lower limit 300 s."""
    rng = random.Random(1)
    stimulus, answer, clock = HALVES_US
    window = Window(Limit(300_000_000, stimulus + clock, stimulus), None, Stamp(0, 0), causal=False)
    u = interval_budget(HALVES_US, None).combined
    passed = sum(
        measure(window, Stamp(round(rng.gauss(true_us, u)), answer), decision).verdict == "pass"
        for _ in range(20_000)
    )
    return passed / 20_000


def test_guarded_passes_a_bad_board_at_most_2_5_percent():
    assert share_passed(300_000_000 - 1, "guarded") == pytest.approx(0.02275, abs=0.004)


def test_simple_passes_a_board_on_the_limit_half_the_time():
    assert share_passed(300_000_000, "simple") == pytest.approx(0.5, abs=0.015)


def test_a_crystal_of_50_ppm_is_15_ms_over_300_s_and_a_resonator_1_5_s():
    # Source: arithmetic on data-sheet tolerances (crystal ±50 ppm, ceramic resonator ±0.5 %).
    origin = Limit(0, 0, 0)
    assert origin.plus(300_000_000, 50).slack_us == 15_000
    assert origin.plus(300_000_000, 5_000).slack_us == 1_500_000


def test_expanded_uncertainty_is_k_times_root_sum_of_rectangles():
    # JCGM 100, 4.3.7: a rectangular distribution of half-width a has u = a/sqrt(3).
    halves = (25_000, 9_700, 16_600)
    u_c = (sum(h * h / 3 for h in halves)) ** 0.5
    assert interval_budget(halves, None).expanded == pytest.approx(2 * u_c)
