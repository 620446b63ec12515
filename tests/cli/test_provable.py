"""`profile check` warns of what the built-in acceptance cannot prove on any board, so that nobody finds out on the bench."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from bench.cli.provable import never_proven
from bench.profile import load, shipped
from tests.end_to_end.command import mitbench, run_board
from tests.profile.altered import data, profile

FOLLOWS = {"sensor-fault": "follow"}


def named(changes: dict[str, Any]) -> set[str]:
    return {text.partition(": ")[0] for _, text in never_proven(profile(changes=changes))}


@pytest.mark.parametrize("name", shipped())
def test_shipped_profiles_can_all_be_proven(name: str) -> None:
    assert list(never_proven(load(name))) == []


@pytest.mark.parametrize(
    ("changes", "entries"),
    [
        ({"timing.hold": {"nominal": "5 s", "tolerance": "1 s"}}, {"re-leak", "forced:G"}),
        ({"timing.hold": "not stated"}, {"re-leak"}),
        ({"timing.clear": "not stated"}, {"re-leak"}),
        ({"outputs.G.call": "Y"}, {"trip:G"}),
        ({f"outputs.{o}.modes.sensor-fault": "follow" for o in "YWG"}, {"loss"}),
        ({"must_prove": ["follow:Y", "supply", "level"]}, {"supply", "level"}),
    ],
)
def test_what_cannot_be_shown_is_named(changes: dict[str, Any], entries: set[str]) -> None:
    assert named(changes) >= entries
    assert not named(changes) & {"follow:Y"}


def test_it_stands_at_its_line_and_is_no_error(tmp_path: Path) -> None:
    file = tmp_path / "board.yaml"
    changed = {**data(changes={"must_prove": ["follow:Y", "level"]}), "name": "board"}
    file.write_text(json.dumps(changed, indent=1), "utf-8")
    line = next(n for n, text in enumerate(file.read_text("utf-8").splitlines(), 1) if '"level"' in text)
    answer = mitbench("profile", "check", file)
    assert answer.code == 0
    assert f"{file}:{line}: must_prove[1]: level: acceptance does not prove it" in answer.out
    assert "1 to look at" in answer.out


def test_the_missing_figure_is_named() -> None:
    (told,) = [
        text
        for _, text in never_proven(profile(changes={"timing.hold": "not stated"}))
        if text.startswith("re-leak")
    ]
    assert "(timing.hold not stated)" in told


def test_such_a_board_does_not_pass(tmp_path: Path) -> None:
    """The warning is true: the best of boards stays inconclusive."""
    file = tmp_path / "board.yaml"
    file.write_text(
        json.dumps({**data(changes={"must_prove": ["follow:Y", "level"]}), "name": "board"}), "utf-8"
    )
    answer = run_board(str(file), "sim://?draw=nominal", tmp_path)
    assert (answer.code, answer.plain["reason"]) == (3, "partial run: not proven: level")
