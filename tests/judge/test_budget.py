"""One measurement against its limits: pass, inconclusive, fail, and equality."""

from __future__ import annotations

import math
import random
from itertools import pairwise

import pytest

from bench.judge.budget import budget_of, interval_budget, measure, signal_budget
from bench.judge.clock import EXACT, UNFITTED, fit
from bench.judge.uncertainty import CONFIDENCE, combine, normal, rectangular, student
from bench.judge.window import Stamp, Window, at
from firmware_ref.parameters import Interval
from tests.judge import full_run
from tests.judge.test_clock import samples

HALF = 1_000
ORIGIN = Stamp(0, HALF)
WINDOW: Window = at(ORIGIN).plus(Interval(2_000_000, 6_000_000), 0)
U = math.ceil(2 * math.sqrt(2 * HALF**2 / 3))
BOUND = 2 * HALF


@pytest.mark.parametrize(
    ("mid_us", "verdict", "kind"),
    [
        (4_000_000, "pass", None),
        (2_000_000 + U, "pass", None),
        (2_000_000 + U - 1, "inconclusive", None),
        (2_000_000 - BOUND, "inconclusive", None),
        (2_000_000 - BOUND - 1, "fail", "too-early"),
        (6_000_000 - U, "pass", None),
        (6_000_000 - U + 1, "inconclusive", None),
        (6_000_000 + BOUND, "inconclusive", None),
        (6_000_000 + BOUND + 1, "fail", "too-late"),
    ],
)
def test_guarded(mid_us, verdict, kind):
    found = measure(WINDOW, Stamp(mid_us, HALF), "guarded")
    assert (found.verdict, found.kind) == (verdict, kind)
    assert found.bound_us == BOUND
    assert (found.low_us, found.high_us) == (2_000_000, 6_000_000)


@pytest.mark.parametrize(
    ("mid_us", "verdict"),
    [(1_999_999, "fail"), (2_000_000, "pass"), (6_000_000, "pass"), (6_000_001, "fail")],
)
def test_simple_lets_the_limit_decide(mid_us, verdict):
    assert measure(WINDOW, Stamp(mid_us, HALF), "simple").verdict == verdict


def test_a_lower_limit_of_zero_needs_no_guard_band():
    window = at(ORIGIN).plus(Interval(0, 250_000), 0)
    found = measure(window, Stamp(100, HALF), "guarded")
    assert found.verdict == "pass"
    assert found.low_us is None


def test_u_is_never_more_than_the_bound():
    assert interval_budget((1_000, 0, 0), None).expanded == 1_000
    assert interval_budget((1_000, 1_000, 0), None).expanded < 2_000


def test_margin_is_the_distance_to_the_nearer_limit():
    assert measure(WINDOW, Stamp(5_500_000, HALF), "guarded").margin_us == 500_000
    assert measure(WINDOW, Stamp(2_100_000, HALF), "guarded").margin_us == 100_000


def test_every_share_of_the_clock_is_a_line_of_its_own():
    clock = fit(samples(20, seconds=100))
    budget = interval_budget((1_000, 2_000, 13_200), clock, "us")
    assert [line.source for line in budget.lines[2:]] == [part.source for part in clock.parts]
    assert budget.bound == 16_200
    duration_s = 13_200 / clock.rate_ppm
    rates = [duration_s * part.standard for part in clock.parts]
    assert budget.combined == pytest.approx(math.hypot(1_000 / 3**0.5, 2_000 / 3**0.5, *rates))
    # what the lines allow together is what the tracker widens by, to the rounding of the rate
    assert sum(duration_s * part.half_width for part in clock.parts) == pytest.approx(13_200, rel=0.01)


def test_a_clock_that_was_not_fitted_is_one_line():
    assert [line.half_width for line in interval_budget((1, 1, 500), UNFITTED).lines] == [1, 1, 5_000]


def test_the_table_behind_a_finding_gives_its_bound_and_u():
    found = full_run.good_run().judge(full_run.END_S).findings
    measured = [f for f in found if f.measured is not None]
    assert measured
    for finding in found:
        budget = budget_of(finding, EXACT)
        assert (budget is None) == (finding.measured is None)
        if budget is not None:
            assert budget.bound == pytest.approx(finding.bound)
            assert budget.expanded == pytest.approx(finding.uncertainty, abs=1e-6)


def test_the_pull_on_a_signal_is_measured_by_two_voltages():
    budget = signal_budget((0.005, 0.005))
    assert (budget.bound, {line.unit for line in budget.lines}) == (0.010, {"V"})
    assert budget.combined == pytest.approx(0.005 * math.sqrt(2 / 3))


@pytest.mark.parametrize(
    ("mid_us", "low", "high"),
    [
        (4_000_000, 1, 1),
        (2_000_000 + BOUND, 1, 1),
        (2_000_000 + U, 0.98, 0.99),
        (2_000_000, 0.499, 0.501),
        (2_000_000 - U, 0.01, 0.02),
        (2_000_000 - BOUND - 1, 0, 0),
        (6_000_000 + U, 0.01, 0.02),
    ],
)
def test_conformance_runs_from_one_inside_to_none_beyond_the_bound(mid_us, low, high):
    assert low <= measure(WINDOW, Stamp(mid_us, HALF), "guarded").conformance <= high


def test_where_nothing_is_stated_nothing_conforms():
    window = at(ORIGIN).plus(None, 0)
    assert measure(window, Stamp(5, HALF), "guarded").conformance is None


def test_few_degrees_of_freedom_widen_k():
    many = combine([normal("a", 1.0, "s"), rectangular("b", 1.0, "s")])
    few = combine([normal("a", 1.0, "s", dof=3), rectangular("b", 1.0, "s")])
    assert (many.dof, many.k) == (math.inf, 2.0)
    assert few.dof == pytest.approx(3 * (4 / 3) ** 2)
    assert few.k == student(CONFIDENCE, 5) > 2.5


def test_students_quantile_joins_its_expansion():
    steps = [student(0.95, n) for n in range(195, 207)]
    drops = [a - b for a, b in pairwise(steps)]
    assert all(0 < later < earlier for earlier, later in pairwise(drops))


def test_u_covers_what_the_budget_supposes_as_often_as_it_says():
    """Drawn from the lines themselves: rectangular stamps, a rate known by a fit of few samples."""
    rng = random.Random(7)
    lines = [rectangular("a", 3.0, "ms"), rectangular("b", 2.0, "ms"), normal("c", 1.0, "ppm", 60, 2.0)]
    budget = combine(lines)
    errors = [rng.uniform(-3, 3) + rng.uniform(-2, 2) + 2 * rng.gauss(0, 1) for _ in range(40_000)]
    inside = sum(abs(e) <= budget.expanded for e in errors) / len(errors)
    assert inside == pytest.approx(CONFIDENCE, abs=0.01)
