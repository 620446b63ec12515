"""The worked-out values: what is wanted of them, and ngspice's word on the same sheets and values."""

from __future__ import annotations

from dataclasses import replace

import pytest

from hardware.schematic.sheet import HERE, number, table
from hardware.schematic.worked import WORKED
from tests.hardware.papers import checks
from tests.hardware.papers.checks import CHECKS
from tests.hardware.papers.ngspice import needs_ngspice

CLAIMS = {row["key"]: row for row in table(HERE / "claims.csv")}


def test_every_claim_is_worked_out_and_checked() -> None:
    assert CLAIMS.keys() == WORKED.keys() == CHECKS.keys()


@pytest.mark.parametrize("key", CLAIMS)
def test_worked_out_as_wanted(key: str) -> None:
    least, most = WORKED[key]()
    assert float(CLAIMS[key]["least"]) <= least <= most <= float(CLAIMS[key]["most"])


@needs_ngspice
@pytest.mark.parametrize("key", CLAIMS)
def test_ngspice_confirms(key: str) -> None:
    least, most = CHECKS[key]()
    assert _wanted(key, least, most)
    worked = WORKED[key]()
    allowed = number(CLAIMS[key]["allowed"].rstrip(" %")) / 100 * max(abs(worked.least), abs(worked.most))
    assert worked.least - allowed <= least <= most <= worked.most + allowed


@needs_ngspice
@pytest.mark.parametrize(
    ("key", "wrong", "claim"),
    [
        ("ac.zener", 12.0, "ac.threshold"),
        ("ac.dummy", 1500.0, "ac.ignored"),
        ("driver.pull_down", 10e3, "driver.gate_reset"),
        ("driver.zener", 47.0, "driver.drain_peak"),
        ("main.fet_capacitance", 30e-9, "main.off_time"),
        ("contact.series", 4.7e3, "contact.current"),
        ("sensor.series", 4.7e3, "sensor.unpowered"),
        ("sensor.filter_c3", 10e-9, "sensor.settle"),
        ("sensor.filter_r", 20e3, "sensor.buffer"),
        ("sensor.clamp_top", 1e3, "sensor.clamp_3"),
        ("ladder.2r", 10e3, "ladder.error"),
        ("rms.bottom", 15e3, "rms.trim_low"),
        ("bus.bias", 1e3, "bus.idle"),
        ("bus.termination", 60.0, "bus.load"),
    ],
)
def test_a_wrong_value_is_noticed(
    key: str, wrong: float, claim: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(checks.VALUES, key, replace(checks.VALUES[key], value=wrong))
    assert not _wanted(claim, *CHECKS[claim]())


def _wanted(key: str, least: float, most: float) -> bool:
    return float(CLAIMS[key]["least"]) <= least <= most <= float(CLAIMS[key]["most"])
