"""A calibration record says what a check found, and nothing that was changed since passes for it."""

from __future__ import annotations

import copy
import json
from typing import Any

import pytest

from bench.errors import TraceError
from bench.trace.calibration import (
    Calibration,
    ClockRate,
    ComputerRate,
    RelayTimes,
    SensorOffsets,
    Spread,
    _checksum,
    from_json,
)
from bench.trace.file import trace_of
from bench.trace.records import Header, Snapshot

FIXTURE = {"maker": "mitbench", "model": "FIXTURE", "serial": "7", "firmware": "1.0"}
TIMES = Spread(7000.0, 120.5, 6800.0, 7300.0, 250.0, 5)


def record(**changes: Any) -> Calibration:
    parts: dict[str, Any] = {
        "fixture": FIXTURE,
        "simulated": False,
        "created": "2026-01-05T10:00:00+00:00",
        "mitbench": "0.1.0",
        "clock": ClockRate(-1234.5, 120.0, 31, 60.5),
        "relays": (RelayTimes("call.Y", 3, "out.Y", TIMES, TIMES),),
        "sensors": (SensorOffsets("sensor.1", 30, 7, (-900, 1200), (-1500, 300)),),
        "inputs": (15, 17, 18),
        "plugged": "2025-12-01T10:00:00+00:00",
        "computer": ComputerRate("bench-pc", 12.5, 3.0),
    }
    return Calibration(**{**parts, **changes})


def test_what_is_written_is_read() -> None:
    for one in (record(), record(computer=None), record(inputs=())):
        assert from_json(json.loads(json.dumps(one.as_json()))) == one


def leaves(plain: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    if isinstance(plain, dict):
        return [leaf for key, value in plain.items() for leaf in leaves(value, (*path, key))]
    if isinstance(plain, list):
        return [leaf for n, value in enumerate(plain) for leaf in leaves(value, (*path, n))]
    return [path]


@pytest.mark.parametrize("leaf", leaves(record().as_json()), ids=str)
def test_every_change_is_noticed(leaf: tuple[Any, ...]) -> None:
    plain = copy.deepcopy(record().as_json())
    owner = plain
    for key in leaf[:-1]:
        owner = owner[key]
    old = owner[leaf[-1]]
    owner[leaf[-1]] = (
        (not old) if isinstance(old, bool) else old + 1 if not isinstance(old, str) else old + "x"
    )
    with pytest.raises(ValueError, match=r"checksum|no calibration record"):
        from_json(plain)


@pytest.mark.parametrize("plain", [None, [], {}, {"format": "mitbench-calibration-1"}, {"format": 3}])
def test_what_is_no_record_is_refused(plain: object) -> None:
    with pytest.raises(ValueError):
        from_json(plain)


def forged(**changes: Any) -> dict[str, Any]:
    """A record whose checksum fits what somebody made of it."""
    plain = {**record().as_json(), **changes}
    del plain["sha256"]
    return {**plain, "sha256": _checksum(plain)}


@pytest.mark.parametrize(
    "changes",
    [
        {"inputs": ["out.Y"]},
        {"inputs": [True]},
        {"inputs": 17},
        {"clock": {"ppm": "fast"}},
        {"fixture": {"serial": "7"}},
        {"relays": [{}]},
        {"computer": {"name": "x"}},
        {"computer": {"name": "x", "ppm": 0, "within_ppm": 0}},
        {"computer": {"name": "x", "ppm": 0, "within_ppm": -3}},
        {"computer": {"name": "x", "ppm": 4000, "within_ppm": 3}},
        {"computer": {"name": "x", "ppm": float("nan"), "within_ppm": 3}},
    ],
    ids=str,
)
def test_a_record_that_no_check_leaves_is_refused_though_its_checksum_fits(changes: dict[str, Any]) -> None:
    with pytest.raises(ValueError):
        from_json(forged(**changes))


def test_the_rate_of_another_computer_is_left_out() -> None:
    assert record().on_computer("bench-pc") == record()
    other = record().on_computer("laptop")
    assert other == record(computer=None)
    assert from_json(other.as_json()) == other


def trace(calibration: dict[str, Any], serial: str = "7") -> None:
    header = Header({}, "", {}, clock="exact", fixture={**FIXTURE, "serial": serial}, calibration=calibration)
    trace_of([header, Snapshot(0, {"main": "open"})], "hand.jsonl")


def test_a_trace_carries_it() -> None:
    trace(record().as_json())


def test_a_trace_with_a_changed_one_is_refused_in_one_sentence() -> None:
    with pytest.raises(TraceError, match=r"^hand\.jsonl: the calibration record in the header was changed"):
        trace({**record().as_json(), "inputs": [15, 17, 18, 19]})


def test_a_trace_with_that_of_another_fixture_is_refused() -> None:
    with pytest.raises(TraceError, match="is of the fixture 7, not of 8"):
        trace(record().as_json(), serial="8")
