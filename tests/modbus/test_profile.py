"""The keys of a Modbus sensor: what they mean, and each mistake as one sentence at its place."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
import yaml

from bench.errors import ProfileError
from bench.judge.conditions import readings
from bench.procedure.levels import signal
from bench.profile import load
from bench.trace.records import Count
from firmware_ref.parameters import Band, Condition, Sensor
from tests.modbus.board import profile_text, with_sensor
from tests.profile.altered import GONE

LOW, BETWEEN, HIGH = Condition.LOW, Condition.BETWEEN, Condition.HIGH


def sensor_with(**changes: Any) -> Sensor:
    return with_sensor({f"sensors.1.{key}": value for key, value in changes.items()}).parameters.sensors[0]


def test_levels_become_counts_and_none_comes_into_a_band_by_rounding() -> None:
    sensor = sensor_with()
    assert (sensor.trip, sensor.clear) == (Band(160, 200), Band(80, 120))
    fine = sensor_with(trip={"between": ["16.04 %LFL", "19.96 %LFL"]})
    assert fine.trip == Band(161, 199)
    for count, reads in (
        (79, {LOW}), (80, {LOW, BETWEEN}), (120, {LOW, BETWEEN}), (121, {BETWEEN}), (159, {BETWEEN}),
        (160, {BETWEEN, HIGH}), (200, {BETWEEN, HIGH}), (201, {HIGH}),
    ):  # fmt: skip
        assert readings(sensor, Count(count)) == reads, count
    assert [signal(sensor, w) for w in ("clear", "between", "leak")] == [Count(78), Count(140), Count(202)]
    assert signal(sensor, "25 %LFL") == Count(250)


def test_a_scale_in_ppm_goes_through_the_refrigerant() -> None:
    changes = {
        "refrigerant": "R-32",
        "sensors.1.registers.concentration.scale": "10 ppm",
        "sensors.1.trip": {"between": ["25000 ppm", "28000 ppm"]},
        "sensors.1.clear": {"between": ["12000 ppm", "15000 ppm"]},
    }
    sensor = with_sensor(changes).parameters.sensors[0]
    assert (sensor.trip, sensor.clear) == (Band(2500, 2800), Band(1200, 1500))


def test_every_way_to_be_lost() -> None:
    sensor = sensor_with(lost_by=["silent", "fault"])
    for way in ("silent", "fault", "open"):  # a plug that is out is silent
        assert readings(sensor, way) == {Condition.LOST}
    for way in ("bad-crc", "exception", "end-of-life"):
        assert readings(sensor, way) == frozenset(Condition)


@pytest.mark.parametrize(
    ("changes", "starts", "says"),
    [
        ({"bus": GONE}, "sensors.1.bus: is missing", "{address: 17"),
        ({"registers": GONE}, "sensors.1.registers: is missing", "{number: 2, scale: 0.1 %LFL}"),
        ({"trip": GONE}, "sensors.1.trip: is missing", "{nominal: 18 %LFL"),
        ({"lost_by": GONE}, "sensors.1.lost_by: is missing", "[silent, bad-crc, exception]"),
        ({"bus.address": 0}, "sensors.1.bus.address: is 0", "1 or more"),
        ({"bus.address": 248}, "sensors.1.bus.address: is 248", "247 or less"),
        ({"bus.baud": 9601}, "sensors.1.bus.baud: is 9601", "9600"),
        ({"bus.parity": "mark"}, "sensors.1.bus.parity: is mark", "even, odd or none"),
        ({"bus.function": 6}, "sensors.1.bus.function: is 6", "3 or 4"),
        ({"bus.stop_bits": 1}, "sensors.1.bus.stop_bits: is not known", ""),
        ({"registers.concentration.number": 65536}, "sensors.1.registers.concentration.number: is 65536", "65535"),
        ({"registers.concentration.scale": "0 %LFL"}, "sensors.1.registers.concentration.scale: is 0 %LFL", "0.1 %LFL"),
        ({"registers.concentration.scale": "0.1"}, "sensors.1.registers.concentration.scale: is 0.1, a bare number", "%LFL"),
        ({"registers.concentration.scale": "10 ppm"}, "sensors.1.registers.concentration.scale: is in ppm", "refrigerant: R-32"),
        ({"registers.concentration.scale": "0.0003 %LFL"}, "sensors.1.trip: is more than a register can hold", "coarser"),
        ({"registers.concentration.scale": "7 %LFL", "trip": {"between": ["15 %LFL", "20 %LFL"]},
          "clear": {"between": ["6 %LFL", "8 %LFL"]}},
         "sensors.1.trip: lies between two counts of 7 %LFL", "finer"),
        ({"registers.status.number": 2}, "sensors.1.registers.status.number: is the register of the concentration", "another"),
        ({"registers.status.number": 127}, "sensors.1.registers.status.number: is 125 registers", "125"),
        ({"registers.status.fault": 16}, "sensors.1.registers.status.fault: is 16", "15"),
        ({"registers.status.end_of_life": 3}, "sensors.1.registers.status.end_of_life: is bit 3, as is fault", "its own"),
        ({"registers.status.fault": GONE}, "sensors.1.lost_by[3]: is fault, and no status bit says so", "registers.status.fault"),
        ({"lost_by": ["silent", "open"]}, "sensors.1.lost_by[1]: is open, which a modbus sensor cannot be", "bad-crc"),
        ({"clear": {"nominal": "15 %LFL", "tolerance": "2 %LFL"}}, "sensors.1.clear: with its tolerance reaches", "lower clear"),
        ({"trip": {"between": ["1.2 V", "1.3 V"]}}, "sensors.1.trip: is a voltage", "%LFL or ppm"),
        ({"load": "20 mV"}, "sensors.1.load: does not fit a modbus sensor", "kind: analog"),
        ({"points": {"0 %LFL": "0.5 V", "100 %LFL": "4.5 V"}}, "sensors.1.points: does not fit a modbus sensor", "kind: analog"),
    ],
)  # fmt: skip
def test_each_mistake_is_one_sentence(changes: dict[str, Any], starts: str, says: str) -> None:
    with pytest.raises(ProfileError) as wrong:
        sensor_with(**changes)
    (line,) = str(wrong.value).split("\n")
    line = line.removeprefix("test: ")
    assert line.startswith(starts)
    assert says in line


def test_other_kinds_have_none_of_it() -> None:
    for key in ("bus", "registers"):
        found = profile_text()["sensors"]["1"][key]
        analog = {f"sensors.1.{key}": found}
        with pytest.raises(ProfileError, match=f"{key}: does not fit a supervised sensor.*kind: modbus"):
            with_sensor({"sensors.1": {"kind": "supervised", "lost_by": ["open"]}, **analog})
    with pytest.raises(ProfileError, match=r"lost_by\[0\]: silent does not fit a supervised sensor"):
        with_sensor({"sensors.1": {"kind": "supervised", "lost_by": ["silent"]}})


def test_it_is_on_the_bus_and_the_bus_is_one(tmp_path: Path) -> None:
    assert with_sensor().wiring["sensor.1"] == 34
    text = profile_text({"name": "two-on-a-bus"})
    text["sensors"]["2"] = {**text["sensors"]["1"], "bus": {**text["sensors"]["1"]["bus"], "address": 18}}
    path = tmp_path / "two-on-a-bus.yaml"
    path.write_text(yaml.safe_dump(text), encoding="utf-8")
    with pytest.raises(ProfileError, match=r"wiring.sensor.2: is channel 34, as is sensor.1"):
        load(str(path))
    path.write_text(
        yaml.safe_dump(profile_text({"name": "two-on-a-bus", "wiring": {"sensor.1": 30}})), "utf-8"
    )
    with pytest.raises(
        ProfileError, match=r"wiring.sensor.1: is 30, which is sensor.1, of another kind; write one of 34"
    ):
        load(str(path))
