"""What an analog sensor may have besides its levels: limits of its range, a supply that it scales with."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from bench.judge.conditions import readings
from bench.procedure.levels import signal
from bench.profile import describe
from bench.profile.quantities import format_voltage
from bench.trace.records import Voltage
from firmware_ref.parameters import Band, Condition, SensorSupply
from tests.profile.altered import mistakes, profile
from tests.profile.test_doubts import warnings

BELOW = {"nominal": "0.3 V", "tolerance": "50 mV"}
ABOVE = {"nominal": "4.7 V", "tolerance": "50 mV"}
RANGED = {
    "sensors.1.out_of_range": {"below": BELOW, "above": ABOVE},
    "sensors.1.lost_by": ["open", "short", "out_of_range"],
}
SCALED = {"sensors.1.ratiometric": True, "sensors.1.sensor_supply": {"nominal": "5 V", "tolerance": "50 mV"}}


def test_a_signal_out_of_range_is_lost_and_inside_the_tolerance_either_is_right() -> None:
    (sensor,) = profile(changes=RANGED).parameters.sensors
    assert sensor.lost_by == {"open", "short", "below-range", "above-range"}
    assert (sensor.below, sensor.above) == (Band(250_000, 350_000), Band(4_650_000, 4_750_000))
    low, high, lost = {Condition.LOW}, {Condition.HIGH}, {Condition.LOST}
    for mv, reads in (
        (100, lost), (244, lost), (246, low | lost), (354, low | lost), (356, low),
        (4_644, high), (4_646, high | lost), (4_754, high | lost), (4_756, lost),
    ):  # fmt: skip
        assert readings(sensor, Voltage(mv * 1_000, 5_000)) == reads, mv
    assert signal(sensor, "below-range") == Voltage(240_000, 5_000)
    assert signal(sensor, "above-range") == Voltage(4_760_000, 5_000)
    with pytest.raises(ValueError, match="write leak, clear, between, open, short or a quantity"):
        signal(profile().parameters.sensors[0], "above-range")


def test_the_levels_of_a_ratiometric_sensor_hold_wherever_its_supply_lies() -> None:
    (sensor,) = profile(changes=SCALED).parameters.sensors
    (plain,) = profile().parameters.sensors
    assert sensor.supply == SensorSupply(5_000_000, 4_950_000, 5_050_000)
    assert (sensor.trip, sensor.clear) == (Band(1_128_600, 1_313_000), Band(811_800, 989_800))
    assert sensor.trip is not None
    assert sensor.at_nominal(sensor.trip) == plain.trip
    assert describe(profile(changes=SCALED)) == describe(profile())


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"sensors.1.ratiometric": True}, "sensors.1.sensor_supply: is missing: the fixture's signal is a fixed voltage"),
        ({"sensors.1.sensor_supply": BELOW}, "sensors.1.sensor_supply: does not fit a signal that keeps its voltage"),
        ({**SCALED, "sensors.1.sensor_supply": {"between": ["1 %LFL", "2 %LFL"]}}, "sensors.1.sensor_supply: must be a voltage"),
        ({**SCALED, "sensors.1.sensor_supply": {"between": ["0 V", "5 V"]}}, "sensors.1.sensor_supply: must be a voltage"),
        ({"sensors.1.lost_by": ["out_of_range"]}, "sensors.1.out_of_range: is missing, though lost_by names it"),
        ({"sensors.1.out_of_range": {"below": BELOW}}, "sensors.1.lost_by: leaves out_of_range out"),
        ({**RANGED, "sensors.1.out_of_range": {}}, "sensors.1.out_of_range: names no limit"),
        ({**RANGED, "sensors.1.out_of_range": {"below": {"between": ["5 mV", "0.3 V"]}}}, "sensors.1.out_of_range.below: must lie from 10 mV up"),
        ({**RANGED, "sensors.1.out_of_range": {"below": {"between": ["0.3 V", "0.9 V"]}}}, "sensors.1.out_of_range.below: must lie from 10 mV up"),
        ({**RANGED, "sensors.1.out_of_range": {"above": {"between": ["1.2 V", "4.7 V"]}}}, "sensors.1.out_of_range.above: must lie above trip"),
        ({**RANGED, "sensors.1.out_of_range": {"above": {"between": ["4.7 V", "5 V"]}}}, f"sensors.1.out_of_range.above: must lie above trip and clear and at most at {format_voltage(4_990_000)}"),
        ({**RANGED, "sensors.1.out_of_range": {"below": BELOW, "under": BELOW}}, "sensors.1.out_of_range.under: is not known"),
    ],
)  # fmt: skip
def test_what_does_not_fit_is_said_in_one_sentence(changes: dict[str, Any], says: str) -> None:
    (line,) = mistakes(changes=changes)
    assert line.startswith(says)


@pytest.mark.parametrize("key", ["out_of_range", "sensor_supply"])
def test_only_an_analog_sensor_has_them(key: str) -> None:
    value = {"below": BELOW} if key == "out_of_range" else BELOW
    (line,) = mistakes("invented-air-handler", {f"sensors.1.{key}": value})
    assert line.startswith(f"sensors.1.{key}: does not fit a supervised sensor")


def test_neither_is_warned_of(tmp_path: Path) -> None:
    assert warnings(tmp_path, {**RANGED, **SCALED}) == []
