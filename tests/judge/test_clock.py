"""The clock fit: rate found, what cannot be known stated, a broken clock named."""

from __future__ import annotations

import random

import pytest

from bench.judge.clock import DRIFT_PPM, HOST_PPM, UNFITTED, fault, fit
from bench.trace.records import Clock


def samples(
    error_ppm: float, seconds: int = 600, trip_us: int = 400, jitter_us: int = 100, drift_ppm: float = 0.0
):
    rng = random.Random(2)
    found = []
    for t in range(0, seconds * 1_000_000, 7_300_000):
        drift = drift_ppm * 1e-6 * t * (t / (seconds * 1e6)) / 2
        tick = round(t * (1 + error_ppm * 1e-6) + drift)
        before = t - trip_us // 2 + rng.randint(-jitter_us, jitter_us)
        found.append(Clock(tick, before, before + trip_us))
    return found


@pytest.mark.parametrize("error_ppm", [-5000, -50, 0, 4990])
def test_the_rate_is_found(error_ppm):
    found = fit(samples(error_ppm))
    assert found.fitted
    assert (1 / found.slope - 1) * 1e6 == pytest.approx(error_ppm, abs=2)
    assert HOST_PPM + DRIFT_PPM <= found.rate_ppm <= 150


def test_a_duration_is_right_within_what_is_stated():
    found = fit(samples(4000, drift_ppm=30))
    true_us, ticks = 360_000_000, round(360_000_000 * 1.004 + 30e-6 * 360e6 * 0.6 / 2)
    assert abs(found.true_us(ticks) - true_us) < true_us * found.rate_ppm / 1e6


def test_too_few_samples_leave_the_resonators_tolerance():
    assert fit(samples(10)[:2]) is UNFITTED
    assert fit([]) is UNFITTED


def test_a_slow_link_is_known_less_well():
    quick, slow = fit(samples(0, 60, trip_us=400)), fit(samples(0, 60, trip_us=8_000))
    assert slow.rate_ppm > quick.rate_ppm


def test_a_clock_outside_every_resonators_tolerance_is_a_fault():
    assert "% off" in (fault(samples(7000)) or "")
    assert fault(samples(5000)) is None


def test_a_clock_that_goes_back_is_a_fault():
    good = samples(0)
    assert "went back" in (fault([*good[:5], good[0], *good[5:]]) or "")


def test_a_rate_that_stays_unknown_for_a_minute_is_a_fault():
    assert "200 ppm" in (fault(samples(0, 70, trip_us=40_000)) or "")
