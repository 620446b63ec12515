"""The clock fit: rate found, what cannot be known stated, a broken clock named."""

from __future__ import annotations

import random

import pytest

from bench.judge.clock import DRIFT_PPM, HOST_PPM, UNFITTED, bend, fault, fit, least_squares
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
    late = [
        Clock(s.tick_us, s.host_before_us, s.host_after_us + (n % 3 == 0) * 40_000)
        for n, s in enumerate(samples(0, 70))
    ]
    assert "200 ppm" in (fault(late) or "")


@pytest.mark.parametrize("on_the_way_back", [0.0, 0.3, 1.0])
def test_a_slow_line_that_is_steady_tells_the_rate(on_the_way_back):
    """115200 baud and an adapter that waits 16 ms; all of it may be on one way."""
    trip_us = 26_000
    slow = [
        Clock(s.tick_us, round(m - (1 - on_the_way_back) * trip_us), round(m + on_the_way_back * trip_us))
        for s in samples(1234, 70)
        for m in [(s.host_before_us + s.host_after_us) / 2]
    ]
    assert fault(slow) is None
    found = fit(slow)
    assert abs((1 / found.slope - 1) * 1e6 - 1234) <= found.fit_ppm < 200


def test_a_curve_is_found_exactly():
    x = [0.0, 1.0, 3.0, 4.0, 7.0]
    y = [2.0 + 3.0 * xi + 0.5 * xi * xi for xi in x]
    found = bend(x, y, least_squares(x, y))
    assert found.curvature == pytest.approx(0.5)
    assert found.curvature_u == pytest.approx(0, abs=1e-9)


def test_a_curve_needs_four_points():
    x = [0.0, 1.0, 2.0]
    with pytest.raises(ValueError, match="four points"):
        bend(x, x, least_squares(x, x))


@pytest.mark.parametrize("drift_ppm", [-80.0, -20.0, 0.0, 20.0, 80.0])
def test_the_drift_is_found_and_its_uncertainty_covers_it(drift_ppm):
    found = fit(samples(1000, drift_ppm=drift_ppm))
    # more ticks in the same time: the host's time for a tick falls
    assert found.drift_ppm == pytest.approx(-drift_ppm, abs=4 * found.drift_u_ppm + 0.3)
    assert 0 < found.drift_u_ppm < 1
    assert 0 < found.slope_u_ppm < 10


@pytest.mark.parametrize("drift_ppm", [-200.0, 200.0])
def test_a_drift_beyond_the_allowance_widens_the_rate(drift_ppm):
    found = fit(samples(0, drift_ppm=drift_ppm))
    assert found.rate_ppm > HOST_PPM + 195
    # and what it widens to holds for a span at the end of the run, where the rate is furthest from the mean
    last = samples(0, drift_ppm=drift_ppm, jitter_us=0)[-8:]
    true_us = last[-1].host_before_us - last[0].host_before_us
    off_us = abs(found.true_us(last[-1].tick_us) - found.true_us(last[0].tick_us) - true_us)
    assert 0.3 * abs(drift_ppm) * true_us < off_us * 1e6 < (found.rate_ppm - HOST_PPM) * true_us


@pytest.mark.parametrize("drift_ppm", [0.0, 20.0, 29.0])
@pytest.mark.parametrize("seconds", [15, 60, 600])
def test_a_drift_that_the_samples_do_not_show_leaves_the_allowance(drift_ppm, seconds):
    found = fit(samples(0, seconds=seconds, drift_ppm=drift_ppm))
    assert [part.half_width for part in found.parts][1] == DRIFT_PPM


def test_late_answers_in_half_of_the_run_are_no_drift():
    good = samples(0)
    late = [
        Clock(s.tick_us, s.host_before_us, s.host_after_us + (n > 40) * 50_000) for n, s in enumerate(good)
    ]
    assert [part.half_width for part in fit(late).parts][1] == DRIFT_PPM


@pytest.mark.parametrize("by_us", [-30_000, 30_000])
def test_a_clock_that_steps_is_a_fault(by_us):
    good = samples(0)
    stepped = [*good[:40], *(Clock(s.tick_us + by_us, s.host_before_us, s.host_after_us) for s in good[40:])]
    assert "stepped" in (fault(stepped) or "")
    assert fault(good) is None


def test_late_answers_are_no_step():
    good = samples(4000, drift_ppm=30)
    late = [
        Clock(s.tick_us, s.host_before_us, s.host_after_us + (n % 5 == 0) * 30_000)
        for n, s in enumerate(good)
    ]
    assert fault(late) is None


def test_the_lines_add_up_to_the_rate():
    found = fit(samples(-3000, seconds=90))
    assert 0 <= found.rate_ppm - sum(part.half_width for part in found.parts) < 1
