"""Half cycles, blind gaps and relays of the simulated fixture against published or computed figures."""

from __future__ import annotations

import math
import random

import pytest

from bench.simulated.mains import BOUNCE_US, THRESHOLD_V, AcInput, Mains
from bench.simulated.relays import DELAYS_US


@pytest.mark.parametrize(("frequency_hz", "half_us"), [(60, 8_333.3), (50, 10_000.0)])
def test_half_cycle(frequency_hz: int, half_us: float) -> None:
    # 60 Hz: 8.333 ms, 50 Hz: 10 ms. Computed; certain.
    assert Mains(frequency_hz, 24.0).half_us == pytest.approx(half_us, abs=0.1)


@pytest.mark.parametrize(
    ("volts_rms", "threshold_v", "gap_60_ms", "gap_50_ms"),
    # Dead time about each zero crossing, asin(threshold/peak)/(pi f). Computed; certain.
    [(24.0, 5.0, 0.784, 0.941), (24.0, 12.0, 1.917, 2.301), (18.0, 5.0, 1.049, 1.259)],
)
def test_blind_gap(
    volts_rms: float, threshold_v: float, gap_60_ms: float, gap_50_ms: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("bench.simulated.mains.THRESHOLD_V", threshold_v)
    assert Mains(60, volts_rms).gap_us / 1000 == pytest.approx(gap_60_ms, abs=0.001)
    assert Mains(50, volts_rms).gap_us / 1000 == pytest.approx(gap_50_ms, abs=0.001)


def test_the_blind_gap_that_the_plan_names() -> None:
    # 3.3 ms at 18 V with a 15 V threshold at 60 Hz. Computed; certain.
    assert THRESHOLD_V == 15.0
    assert Mains(60, 18.0).gap_us / 1000 == pytest.approx(3.3, abs=0.05)


def test_peak_and_pulse_width() -> None:
    # 24 V rms has a peak of 33.94 V. Computed; certain.
    mains = Mains(60, 24.0)
    peak = THRESHOLD_V / math.sin(math.pi * 60 * mains.gap_us / 1e6)
    assert peak == pytest.approx(33.94, abs=0.01)
    conducting = sum(mains.conducts(t) for t in range(100_000))
    assert conducting / 100_000 == pytest.approx(1 - mains.gap_us / mains.half_us, abs=0.005)


def test_absence_needs_more_than_a_half_cycle() -> None:
    # Presence is known within one half cycle; absence needs more than one without a pulse. Computed; certain.
    for seed in range(200):
        chance = random.Random(seed)
        mains = Mains(60, 24.0, chance.uniform(0, 9_000))
        one = AcInput(mains)
        on_us = chance.randint(20_000, 40_000)
        one.put(True, on_us)
        seen_us = one.due_us()
        assert seen_us is not None
        assert seen_us - on_us < 8_334
        one.fire(seen_us)
        off_us = on_us + 50_000 + chance.randint(0, 20_000)
        one.put(False, off_us)
        gone_us = one.due_us()
        assert gone_us is not None
        assert 8_333 - mains.gap_us < gone_us - off_us < 16_700


def test_relay_times() -> None:
    # Small power relays: operate at most 10 ms, release at most 5 ms. Source: data page of a relay module; certain.
    # Bounce: typically 1 to 5 ms. From memory; not certain, so only that ours is within it.
    (_, operate), (_, release) = DELAYS_US["relay"]
    assert operate <= 10_000
    assert release <= 5_000
    assert 1_000 <= BOUNCE_US <= 5_000
