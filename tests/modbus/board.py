"""An invented board with a Modbus sensor: the shipped furnace board's figures, its sensor on a bus."""

from __future__ import annotations

import copy
from typing import Any

from bench.profile import Profile
from tests.profile.altered import data, profile

SENSOR: dict[str, Any] = {
    "kind": "modbus",
    "bus": {"address": 17, "baud": 9600, "parity": "even", "function": 4},
    "registers": {
        "concentration": {"number": 2, "scale": "0.1 %LFL"},
        "status": {"number": 0, "fault": 3, "end_of_life": 5},
    },
    "trip": {"nominal": "18 %LFL", "tolerance": "2 %LFL"},
    "clear": {"nominal": "10 %LFL", "tolerance": "2 %LFL"},
    "lost_by": ["silent", "bad-crc", "exception", "fault", "end-of-life"],
}


def with_sensor(changes: dict[str, Any] | None = None) -> Profile:
    """`changes`: dotted key -> value, of the whole profile."""
    return profile(changes={"sensors.1": data_of(), **(changes or {})})


def data_of() -> dict[str, Any]:
    """A copy of the sensor's keys."""
    return copy.deepcopy(SENSOR)


def profile_text(changes: dict[str, Any] | None = None) -> dict[str, Any]:
    return data(changes={"sensors.1": data_of(), **(changes or {})})
