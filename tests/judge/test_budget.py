"""One measurement against its limits: pass, inconclusive, fail, and equality."""

from __future__ import annotations

import pytest

from bench.judge.budget import expanded_us, measure
from bench.judge.window import Stamp, Window, at
from firmware_ref.parameters import Interval

HALF = 1_000
ORIGIN = Stamp(0, HALF)
WINDOW: Window = at(ORIGIN).plus(Interval(2_000_000, 6_000_000), 0)
U = round(expanded_us(2 * HALF**2, 2 * HALF))
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
    assert expanded_us(3 * 10**6, 1_000) == 1_000


def test_margin_is_the_distance_to_the_nearer_limit():
    assert measure(WINDOW, Stamp(5_500_000, HALF), "guarded").margin_us == 500_000
    assert measure(WINDOW, Stamp(2_100_000, HALF), "guarded").margin_us == 100_000
