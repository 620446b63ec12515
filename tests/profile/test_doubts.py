"""Warnings of `profile check`: placed, worded, and never in the way."""

from __future__ import annotations

import csv
import json
from pathlib import Path
from typing import Any

import pytest

from bench.data import channels_csv
from bench.judge.bounds import SIGNAL_BOUND_UV, expected_bound_us
from bench.profile import check, load
from bench.profile.quantities import format_duration, parse_voltage
from tests.profile.altered import data


def warnings(folder: Path, changes: dict[str, Any]) -> list[str]:
    file = folder / "board.yaml"
    file.write_text(json.dumps({**data(changes=changes), "name": "board"}), "utf-8")
    load(str(file))
    report = check(str(file))
    assert report.errors == []
    return [line.removeprefix(f"{file}:1: ") for line in report.warnings]


@pytest.mark.parametrize(
    ("changes", "starts", "needs"),
    [
        ({"timing.clear": {"nominal": "5 s", "tolerance": "10 ms"}}, "timing.clear: is 20 ms wide", 4 * expected_bound_us(5_010_000)),
        ({"timing.return": {"between": ["5 s", "5 s"]}}, "timing.return: is 0 s wide", 4 * expected_bound_us(5_000_000)),
        ({"outputs.Y.follow": {"within": "10 ms"}}, "outputs.Y.follow: is 10 ms wide", 2 * expected_bound_us(10_000)),
        ({"outputs.Y.react": {"within": "12 ms"}}, "outputs.Y.react: is 12 ms wide", 2 * expected_bound_us(12_000)),
        ({"outputs.Y.trip": {"between": ["2 s", "2.02 s"]}}, "outputs.Y.trip: is 20 ms wide", 4 * expected_bound_us(2_020_000)),
    ],
)  # fmt: skip
def test_an_interval_that_the_bench_cannot_resolve(
    tmp_path: Path, changes: dict[str, Any], starts: str, needs: int
) -> None:
    (line,) = warnings(tmp_path, changes)
    assert line.startswith(starts)
    assert f"needs {format_duration(needs)};" in line


def test_an_interval_just_wide_enough_is_no_warning(tmp_path: Path) -> None:
    top = 5_100_000
    span = {"between": [format_duration(top - 4 * expected_bound_us(top)), format_duration(top)]}
    assert warnings(tmp_path, {"timing.clear": span}) == []
    assert warnings(tmp_path, {"outputs.Y.follow": {"within": "17 ms"}}) == []


def test_a_level_that_the_bench_cannot_resolve(tmp_path: Path) -> None:
    (line,) = warnings(tmp_path, {"sensors.1.trip.tolerance": "0.2 %LFL"})
    assert line.startswith("sensors.1.trip: is 16 mV wide")
    assert "needs 20 mV" in line


def test_the_signal_bound_is_that_of_the_channel_table() -> None:
    with channels_csv().open(encoding="utf-8", newline="") as file:
        bounds = {row["bound"] for row in csv.DictReader(file) if row["kind"] == "sensor"}
    assert {parse_voltage(bound) for bound in bounds} == {SIGNAL_BOUND_UV}


def test_a_call_that_nothing_follows(tmp_path: Path) -> None:
    (line,) = warnings(tmp_path, {"calls": ["Y", "W", "G", "O"]})
    assert line.startswith("calls[3]: O: no output follows it")


def test_warnings_stand_at_their_line(tmp_path: Path) -> None:
    text = Path(load("invented-split-furnace").source).read_text("utf-8")
    file = tmp_path / "invented-split-furnace.yaml"
    file.write_text(text.replace("hold: {nominal: 6 min", "hold: {nominal: 4 min"), "utf-8")
    line = next(n for n, content in enumerate(text.splitlines(), 1) if content.startswith("  hold:"))
    (warning,) = check(str(file)).warnings
    assert warning.startswith(f"{file}:{line}: timing.hold: may be as short as 235 s; published: ")
