"""Statistics of repeated timings against published figures."""

from __future__ import annotations

import pytest

from bench.judge.uncertainty import student
from bench.records.spread import mean_interval, spread_of, tolerance_factor


def test_confidence_interval_of_a_mean():
    """NIST/SEMATECH e-Handbook 1.3.5.2 (heat flow meter data, N 195): 9.258242 to 9.264679; certain."""
    assert mean_interval(195, 9.261460, 0.02278881, 0.95) == pytest.approx((9.258242, 9.264679), abs=1e-6)
    assert student(0.95, 194) == pytest.approx(1.9723, abs=5e-5)


@pytest.mark.parametrize(
    ("freedom", "t"), [(1, 12.7062), (2, 4.3027), (3, 3.1824), (4, 2.7764), (16, 2.1199), (30, 2.0423)]
)
def test_students_t(freedom, t):
    """The printed table of every textbook, two-sided 95 %; certain."""
    assert student(0.95, freedom) == pytest.approx(t, abs=5e-5)


def test_t_of_the_end_gauge():
    """JCGM 100:2008 H.1: t for 99 % and 16 degrees of freedom is 2.92; certain."""
    assert student(0.99, 16) == pytest.approx(2.92, abs=5e-3)


def test_tolerance_factor_of_the_handbook():
    """NIST/SEMATECH e-Handbook 7.2.6.3: N 43, 90 % of the source, 99 % confidence: 2.217 by Howe's approximation.

    Published figure from memory of the page, certain to its digits; the exact
    factor, 2.22283, was computed with an independent library.
    """
    factor = tolerance_factor(43, 0.90, 0.99)
    assert factor == pytest.approx(2.217, rel=5e-3)
    assert factor == pytest.approx(2.22283, abs=2e-5)


@pytest.mark.parametrize(("count", "factor"), [(5, 5.0769), (10, 3.3934), (30, 2.5549)])
def test_exact_two_sided_tolerance_factors(count, factor):
    """95 % of the source with 95 % confidence, as in the tables of ISO 16269-6 (annex for an unknown deviation).

    The figures were computed with an independent library, not read off the
    standard; the tables are said to agree.
    """
    assert tolerance_factor(count, 0.95, 0.95) == pytest.approx(factor, abs=1e-4)


def test_a_spread_by_hand():
    """2, 4, 6: mean 4, deviation 2, t(2) 4.3027, so 4 -+ 4.9683."""
    found = spread_of([2.0, 4.0, 6.0])
    assert (found.count, found.mean, found.deviation) == (3, 4.0, 2.0)
    assert found.mean_within == pytest.approx((4 - 4.9683, 4 + 4.9683), abs=1e-3)
    assert found.tolerance[1] - 4 == pytest.approx(2 * tolerance_factor(3, 0.95, 0.95))
    assert spread_of([1.0, 1.0]).tolerance == (1.0, 1.0)
