"""The JSON Schema agrees with the loader, and the page for people with both."""

from __future__ import annotations

import copy
import re
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import bench.profile
from bench.data import profiles_dir
from bench.errors import ProfileError
from bench.profile import check, describe, from_data, schema, shipped
from bench.profile.yamltext import read_yaml
from tests.profile.altered import GONE, data, mistakes
from tests.profile.test_checks import ALARM, LIGHT, PLAIN

VALIDATOR = jsonschema.Draft202012Validator(schema())


def test_the_schema_is_one() -> None:
    jsonschema.Draft202012Validator.check_schema(schema())


@pytest.mark.parametrize("name", shipped())
def test_shipped_profiles_are_valid_and_without_a_warning(name: str) -> None:
    path = profiles_dir() / f"{name}.yaml"
    assert list(VALIDATOR.iter_errors(read_yaml(path.read_bytes()).data)) == []
    report = check(str(path))
    assert (report.errors, report.warnings) == ([], [])


@pytest.mark.parametrize(
    "changes",
    [
        {"format": "mitbench-profile-2"},
        {"name": GONE},
        {"name": "two words"},
        {"light": {}},
        {"light": {**LIGHT, "seen": "by eye"}},
        {"light": {**LIGHT, "modes": {**LIGHT["modes"], "normal": "5 flash"}}},
        {"supply.frequency": 60},
        {"supply.frequency": "55 Hz"},
        {"calls": []},
        {"calls": "Y"},
        {"outputs": {}},
        {"outputs.Y.folow": {"within": "1 s"}},
        {"outputs.Y.kind": "dc"},
        {"outputs.two words": {}},
        {"outputs.Y.modes.normal": True},
        {"outputs.Y.modes.standby": "off"},
        {"outputs.Y.modes.unpowered": GONE},
        {"outputs.Y.follow": "not stated"},
        {"outputs.Y.restart": {"after": ["reboot"], "delay": {"within": "1 s"}}},
        {"sensors.one": {"kind": "contact"}},
        {"sensors.1.points": {"0": "0.5 V", "100": "4.5 V"}},
        {"sensors.1.trip": "18 %LFL"},
        {"sensors.1.trip.nominal": 18},
        {"sensors.1.trip.nominal": "18 ppb"},
        {"sensors.1.lost_by": ["cut"]},
        {"timing.boot": "not stated"},
        {"timing.hold": "6 min"},
        {"timing.hold": 360},
        {"timing.hold": {"nominal": "6 min"}},
        {"timing.hold": {"nominal": "6 min", "tolerance": "5 s", "within": "7 min"}},
        {"timing.hold": {"between": ["6 min"]}},
        {"timing.glitch": 30},
        {"timing.glitch": "30 msec"},
        {"timing.glitch": GONE},
        {"rules.latching": "yes"},
        {"rules.hold_on_band": "stop"},
        {"wiring": {"call.Y": "3"}},
        {"wiring": {"call.Y": 0}},
        {"wiring": {"pump": 3}},
        {"decision": "kind"},
    ],
)  # fmt: skip
def test_what_the_loader_refuses_the_schema_refuses_too(changes: dict[str, Any]) -> None:
    assert mistakes(changes=changes) != []
    assert list(VALIDATOR.iter_errors(data(changes=changes))) != []


VALUES: list[Any] = [
    None, True, 3, -1.5, "on", "open", "not stated", "6 min", "18 %LFL", "1.8 V", "Y", "supply", "analog", [], {},
    ["Y"], ["open"], {"within": "1 s"}, {"between": ["1 s", "2 s"]}, {"nominal": "18 %LFL", "tolerance": "1 %LFL"},
    {"on": {"within": "1 s"}, "off": {"within": "1 s"}}, {"supply_off": "3 s"}, "restart", {"a": {"b": 1}}, ALARM,
]  # fmt: skip
KEYS = [
    "trip",
    "clear",
    "react",
    "loss",
    "call",
    "must_prove",
    "wiring",
    "zz",
    "reset",
    "within",
    "alarm.no",
    "2",
    "0 %LFL",
]


def places(value: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    found = [path] if path else []
    entries = (
        value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    )
    for key, inner in entries:
        found += places(inner, (*path, key))
    return found


@settings(max_examples=300, deadline=None)
@given(st.sampled_from(shipped()), st.data())
def test_a_damaged_profile_is_accepted_by_both_or_refused_in_sentences(
    name: str, draw: st.DataObject
) -> None:
    damaged = data(name)
    for _ in range(draw.draw(st.integers(1, 3))):
        path = draw.draw(st.sampled_from(places(damaged)))
        holder = damaged
        for key in path[:-1]:
            holder = holder[key]
        how = draw.draw(st.sampled_from(("drop", "set", "add")))
        value = copy.deepcopy(draw.draw(st.sampled_from(VALUES)))
        if how == "drop":
            del holder[path[-1]]
        elif how == "add" and isinstance(holder[path[-1]], dict):
            holder[path[-1]][draw.draw(st.sampled_from(KEYS))] = value
        else:
            holder[path[-1]] = value
        if not damaged:
            break
    before = copy.deepcopy(damaged)
    try:
        profile = from_data(damaged, "test")
    except ProfileError as e:
        lines = str(e).split("\n")
        assert all(line.startswith("test: ") and len(line) > 20 for line in lines)
        assert len(set(lines)) == len(lines)
    else:
        describe(profile)
        assert list(VALIDATOR.iter_errors(damaged)) == []
    assert damaged == before


def test_a_board_without_loss_is_valid_too() -> None:
    assert list(VALIDATOR.iter_errors(data(changes=PLAIN))) == []


def keys_of(part: Any) -> set[str]:
    found: set[str] = set(part.get("properties", {})) if isinstance(part, dict) else set()
    for inner in part.values() if isinstance(part, dict) else part if isinstance(part, list) else ():
        found |= keys_of(inner)
    return found


def test_the_page_for_people_names_every_key_and_word() -> None:
    page = (Path(bench.profile.__file__).parent / "FORMAT.md").read_text("utf-8")
    spans = set(re.findall(r"`([^`]+)`", page))
    words = {word for span in spans for word in re.findall(r"[A-Za-z0-9_.-]+", span)}
    assert keys_of(schema()) - words == set()
    choices = {
        choice
        for found in re.findall(r"'enum': \[([^]]*)\]", str(schema()))
        for choice in re.findall(r"'([^']+)'", found)
    }
    assert {c for c in choices if c not in spans and c not in words} == set()
