"""The shipped profiles are the boards of tests/boards.py, and nothing is lost on the way into a trace."""

from __future__ import annotations

import json

import pytest

from bench.profile import Profile, from_data, load, shipped
from firmware_ref.parameters import Parameters
from tests import boards


@pytest.mark.parametrize(
    ("name", "expected"),
    [("invented-split-furnace", boards.furnace()), ("invented-air-handler", boards.buttoned_air_handler())],
)
def test_a_shipped_profile_is_the_board_of_the_tests(name: str, expected: Parameters) -> None:
    assert load(name).parameters == expected


def test_every_shipped_profile_is_invented_and_says_so() -> None:
    for name in shipped():
        profile = load(name)
        assert name == profile.name
        assert name.startswith("invented-")
        assert "Invented" in profile.data["about"]


@pytest.mark.parametrize("name", shipped())
def test_a_profile_comes_back_from_the_json_of_a_trace(name: str) -> None:
    profile = load(name)
    stored = json.loads(json.dumps(profile.data))
    again: Profile = from_data(stored, "a.jsonl:1")
    assert again.parameters == profile.parameters
    assert again.sha256 == profile.sha256
    assert again.data == profile.data
    assert again.source == "a.jsonl:1"
