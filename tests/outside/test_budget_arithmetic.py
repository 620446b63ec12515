"""The budget's arithmetic against JCGM 100 (GUM) H.1, calibration of an end gauge.

Inputs and results seen in four public test suites that quote the example (S).
The inputs are rounded, so the published 32 nm is met to 1 nm, not closer.
"""

from __future__ import annotations

import math

import pytest

from bench.judge.uncertainty import combine, normal, rectangular, student

LENGTH_NM = 50.000623e6
EXPANSION = 11.5e-6
OFF_20_DEGC = -0.1

LINES = (
    normal("standard, its certificate", 25.0, "nm", dof=18),
    normal("difference of the two gauges", 9.7, "nm", dof=25.6),
    normal("expansion of the standard", 1.2e-6, "1/K", sensitivity=0.0),
    normal("temperature of the bed", 0.41, "K", sensitivity=0.0),
    normal("difference of expansion", 0.58e-6, "1/K", dof=50, sensitivity=-LENGTH_NM * OFF_20_DEGC),
    normal("difference of temperature", 0.029, "K", dof=2, sensitivity=-LENGTH_NM * EXPANSION),
)


def test_contributions() -> None:
    # published 25, 9.7, 2.9 and 16.6 nm; the last is 16.68 from the rounded input (C)
    assert [line.u for line in LINES] == pytest.approx([25, 9.7, 0, 0, 2.9, 16.6], abs=0.1)


def test_combined_uncertainty_and_degrees_of_freedom() -> None:
    budget = combine(LINES, confidence=0.99)
    assert budget.combined == pytest.approx(32, abs=1)
    assert budget.dof == pytest.approx(16.7, abs=0.1)


def test_expanded_uncertainty_at_99_percent() -> None:
    budget = combine(LINES, confidence=0.99)
    assert budget.k == pytest.approx(2.92, abs=0.005)  # t of 16 degrees of freedom: 16.7 is cut to 16
    assert budget.expanded == pytest.approx(93, abs=1)


def test_half_widths_are_turned_into_standard_uncertainties() -> None:
    # H.1.3.4 and H.1.3.6 (remembered with high confidence, M+): ±1e-6 1/K and ±0.05 K, both rectangular,
    # are the 0.58e-6 1/K and 0.029 K of the table.
    assert rectangular("difference of expansion", 1e-6, "1/K").standard == pytest.approx(0.58e-6, abs=5e-9)
    assert rectangular("difference of temperature", 0.05, "K").standard == pytest.approx(0.029, abs=5e-4)


def test_expanded_uncertainty_stops_at_the_bound() -> None:
    assert combine(LINES, bound=60.0, confidence=0.99).expanded == 60.0


@pytest.mark.parametrize(
    ("confidence", "dof", "t"),
    [
        (0.99, 16, 2.9208),  # C, with H.1
        (0.95, 194, 1.9723),  # S: NIST e-Handbook 1.3.5.2
        (0.95, math.inf, 1.9600),  # C: the normal distribution
    ],
)
def test_students_quantile(confidence: float, dof: float, t: float) -> None:
    assert student(confidence, dof) == pytest.approx(t, abs=5e-5)
