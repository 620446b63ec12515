"""Probability of conformance, guard bands and risks against published figures.

How sure each figure is stands beside it.  S: seen in a public source; M+:
remembered with high confidence, the document was not at hand; C: computed
independently of this project from the source's inputs.  Global risks follow
from our functions by integrating over the prior that the source states.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from statistics import NormalDist

import pytest

from bench.judge.conformance import conformance, false_pass_risk, guard_band

N = NormalDist()


# --- one result ------------------------------------------------------------------


def test_jcgm_106_zener_diode() -> None:
    # JCGM 106:2012, one-sided example: limit -5.40 V, result -5.47 V, u 0.05 V (inputs M+): p = Phi(1.40) = 0.9192 (C).
    assert conformance(-5.47, 0.05, high=-5.40) == pytest.approx(0.9192, abs=5e-5)


def test_jcgm_106_burst_strength() -> None:
    # JCGM 106:2012: at least 490 kPa, result 509.7 kPa, u 8.6 kPa (inputs M+): z = 2.29, p = 0.989 (C).
    assert conformance(509.7, 8.6, low=490) == pytest.approx(0.989, abs=5e-4)


def test_two_limits_are_two_tails() -> None:
    # The normal distribution itself: within one and two standard deviations 68.27 % and 95.45 %.
    assert conformance(0, 1, -1, 1) == pytest.approx(0.6827, abs=5e-5)
    assert conformance(0, 1, -2, 2) == pytest.approx(0.9545, abs=5e-5)


@pytest.mark.parametrize(
    ("guard_in_expanded", "risk"),
    [
        (
            1.0,
            0.02275,
        ),  # S: two laboratories' statements quote ILAC-G8:09/2019, w = U: at most 2.5 %; exactly Phi(-2), C
        (0.0, 0.5),  # S: the same statements: simple acceptance up to 50 %
        (3.0, 9.9e-10),  # M+: 3 U, below 1 ppm; value C
        (1.5, 0.00135),  # M+: 1.5 U, below 0.16 %; value C
        (0.83, 0.0485),  # M+: 0.83 U, below 5 %; value C
    ],
)
def test_ilac_g8_guard_bands(guard_in_expanded: float, risk: float) -> None:
    u = 7.0
    assert false_pass_risk(guard_in_expanded * 2 * u, u) == pytest.approx(risk, rel=4e-3)


@pytest.mark.parametrize(
    ("risk", "z"),
    [
        (0.05, 1.6449),  # M+ and C: ISO 14253-1, the guard of 1.65 u is 5 %
        (0.025, 1.9600),  # C
        (0.02, 2.0537),  # C: the 2 % of ANSI/NCSL Z540.3 cl. 5.3 as a specific risk
        (0.01, 2.3263),  # C
    ],
)
def test_guard_for_a_risk(risk: float, z: float) -> None:
    assert guard_band(1.0, risk) == pytest.approx(z, abs=5e-5)
    assert false_pass_risk(guard_band(3.0, risk), 3.0) == pytest.approx(risk)


def test_a_hold_of_300_s_is_accepted_from_300_s_and_u_on() -> None:
    # Application of JCGM 106, 8.3.2, guarded acceptance: accept from limit + U (C).
    u_s = 0.02
    assert 1 - conformance(300 + 2 * u_s, u_s, low=300) == pytest.approx(false_pass_risk(2 * u_s, u_s))


# --- many results: global risks ------------------------------------------------------


def integral(f: Callable[[float], float], low: float, high: float, steps: int = 4_000) -> float:
    """Simpson's rule."""
    h = (high - low) / steps
    inner = sum((4 if n % 2 else 2) * f(low + n * h) for n in range(1, steps))
    return (f(low) + inner + f(high)) * h / 3


def risks(
    prior: Callable[[float], float],
    span: tuple[float, float],
    u: float,
    limits: tuple[float | None, float],
    accepted: tuple[float | None, float],
) -> tuple[float, float]:
    """(false passes, false rejections) as shares of everything measured.

    The share of results inside `accepted` when the true value is x is the
    conformance function with the two swapped.
    """
    low, high = limits
    start = span[0] if low is None else low

    def passed(x: float) -> float:
        return prior(x) * conformance(x, u, *accepted)

    def refused(x: float) -> float:
        return prior(x) * (1 - conformance(x, u, *accepted))

    below = 0.0 if low is None else integral(passed, span[0], low)
    return below + integral(passed, high, span[1]), integral(refused, start, high)


def gamma_density(x: float) -> float:
    """Shape 4, scale 1/4: mean 1, standard deviation 0.5."""
    return 4**4 * x**3 * math.exp(-4 * x) / 6


BALL_SPAN, BALL_LIMITS, BALL_U = (0.0, 8.0), (None, 2.0), 0.25


def test_jcgm_106_ball_bearing() -> None:
    # JCGM 106:2012, 9.5.4. S: a public notebook that cites it shows 0.04238, 0.008019 and 1.67183; producer risks C.
    assert integral(gamma_density, 2.0, 8.0) == pytest.approx(0.04238, abs=5e-6)
    consumer, producer = risks(gamma_density, BALL_SPAN, BALL_U, BALL_LIMITS, (None, 2.0))
    assert consumer == pytest.approx(0.008019, abs=1e-6)
    assert producer == pytest.approx(0.01744, abs=5e-6)


def test_jcgm_106_ball_bearing_acceptance_limit_for_a_consumer_risk_of_one_in_a_thousand() -> None:
    # As above: acceptance limit 1.67183 um (S), producer risk there 7.549 % (C).
    low, high = 1.5, 2.0
    while high - low > 1e-7:
        middle = (low + high) / 2
        consumer, _ = risks(gamma_density, BALL_SPAN, BALL_U, BALL_LIMITS, (None, middle))
        low, high = (low, middle) if consumer > 0.001 else (middle, high)
    assert high == pytest.approx(1.67183, abs=1e-5)
    assert risks(gamma_density, BALL_SPAN, BALL_U, BALL_LIMITS, (None, high))[1] == pytest.approx(
        0.07549, abs=5e-6
    )


@pytest.mark.parametrize(
    ("accepted", "consumer", "producer"),
    [
        ((1499.82, 1500.18), 0.00988, 0.06903),
        ((1499.77, 1500.23), 0.03796, 0.01139),
        ((1499.8, 1500.2), 0.01894, 0.03721),
    ],
)
def test_jcgm_106_resistors(accepted: tuple[float, float], consumer: float, producer: float) -> None:
    # JCGM 106 resistor example: prior N(1500, 0.12), limits 1499.8 to 1500.2 ohm, u 0.04 ohm (inputs S: a public code example; values C).
    prior = NormalDist(1500, 0.12)
    assert prior.cdf(1500.2) - prior.cdf(1499.8) == pytest.approx(0.9044, abs=5e-5)
    found = risks(prior.pdf, (1499, 1501), 0.04, (1499.8, 1500.2), accepted)
    assert found == pytest.approx((consumer, producer), abs=6e-6)


def test_deaver_global_risk() -> None:
    # Deaver: limits at 2 standard deviations of the product, standard uncertainty a quarter of that deviation:
    # 0.8 % and 1.5 % (S: tests of a public uncertainty library cite p 7); 0.801 % and 1.485 % (C).
    found = risks(N.pdf, (-8, 8), 0.25, (-2, 2), (-2, 2))
    assert found == pytest.approx((0.00801, 0.01485), abs=6e-6)


@pytest.mark.parametrize(
    ("in_tolerance", "percent"),
    [(0.6, 4.8386), (0.7, 3.9223), (0.8, 2.8558), (0.9, 1.6000), (0.95, 0.8710), (0.99, 0.1999)],
)
def test_rp_19_unconditional_false_acceptance(in_tolerance: float, percent: float) -> None:
    # NCSLI RP-19 draft table, u a quarter of the product's deviation (S: tests of the same public library; C agrees).
    limit = N.inv_cdf((1 + in_tolerance) / 2)
    consumer, _ = risks(N.pdf, (-9, 9), 0.25, (-limit, limit), (-limit, limit))
    assert 100 * consumer == pytest.approx(percent, abs=6e-5)


def four_to_one(in_tolerance: float) -> float:
    """False passes with simple acceptance at 4:1: the tolerance is four times U = 2 u."""
    limit = N.inv_cdf((1 + in_tolerance) / 2)
    return risks(N.pdf, (-10, 10), limit / 8, (-limit, limit), (-limit, limit))[0]


def test_four_to_one_is_not_always_two_percent() -> None:
    # The fall-back of ANSI/NCSL Z540.3 cl. 5.3 (S: Castrup's paper) reaches 2.238 % at 64.8 % in tolerance (C).
    assert four_to_one(0.648) == pytest.approx(0.02238, abs=6e-6)
    assert four_to_one(0.648) >= max(four_to_one(0.60), four_to_one(0.70))
    assert four_to_one(0.95) < 0.02


@pytest.mark.parametrize("ratio", [1, 2, 4])
def test_dobberts_managed_guard_band_keeps_two_percent_whatever_the_lot(ratio: int) -> None:
    # Dobbert: A = T - U95·M, M = 1.04 - exp(0.38 ln TUR - 0.54) (formula S); M 0.4573, 0.2816, 0.0531 for 1, 2, 4 (C).
    managed = 1.04 - math.exp(0.38 * math.log(ratio) - 0.54)
    assert managed == pytest.approx({1: 0.4573, 2: 0.2816, 4: 0.0531}[ratio], abs=5e-5)
    u = 1 / ratio / 1.96
    worst = max(
        risks(
            NormalDist(0, sd).pdf,
            (-8 * sd, 8 * sd),
            u,
            (-1, 1),
            (-1 + 1.96 * u * managed, 1 - 1.96 * u * managed),
        )[0]
        for sd in (0.3, 0.5, 0.7, 0.9, 1.1, 1.5, 2.0)
    )
    assert worst <= 0.0205  # the formula is a fit to the 2 % curve
    full_guard = max(
        risks(NormalDist(0, sd).pdf, (-8 * sd, 8 * sd), u, (-1, 1), (-1 + 1.96 * u, 1 - 1.96 * u))[0]
        for sd in (0.7, 1.1)
    )
    assert full_guard < worst  # w = U is the stricter rule


# --- an error that cannot exceed a bound ---------------------------------------------


def test_beyond_the_bound_nothing_is_left_to_chance() -> None:
    assert conformance(2.0, 1.0, low=0.0, bound=2.0) == 1
    assert conformance(-2.001, 1.0, low=0.0, bound=2.0) == 0
    assert conformance(0.0, 1.0, low=0.0, bound=2.0) == 0.5
    assert conformance(5.0, 0.0, low=5.0, bound=0.0) == 1


def test_a_far_bound_changes_nothing() -> None:
    assert conformance(0.3, 1.0, -1, 1, bound=9.0) == pytest.approx(conformance(0.3, 1.0, -1, 1))
