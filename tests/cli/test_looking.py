"""The commands that only look: procedures, profiles, faults."""

from __future__ import annotations

import json
from pathlib import Path

import jsonschema
import pytest

from bench.data import profiles_dir
from bench.profile import load, shipped
from tests.end_to_end.command import mitbench

FURNACE = "invented-split-furnace"


def test_profile_list_names_the_shipped_ones() -> None:
    assert [line.split()[0] for line in mitbench("profile", "list").out.splitlines()] == shipped()
    rows = json.loads(mitbench("profile", "list", "--json").out)
    assert [row["name"] for row in rows] == shipped()
    assert all(row["about"] and len(row["sha256"]) == 64 for row in rows)


def test_profile_schema_accepts_the_shipped_profiles() -> None:
    schema = json.loads(mitbench("profile", "schema").out)
    for name in shipped():
        jsonschema.validate(load(name).data, schema)
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate({**load(FURNACE).data, "timming": {}}, schema)


def test_profile_check_of_good_files_is_0(tmp_path: Path) -> None:
    answer = mitbench("profile", "check", *sorted(profiles_dir().glob("*.yaml")))
    assert answer.code == 0
    assert answer.err == ""
    assert answer.out.count("can be used") == len(shipped())


def test_profile_check_names_every_mistake_of_every_file(tmp_path: Path) -> None:
    text = (profiles_dir() / f"{FURNACE}.yaml").read_text("utf-8")
    bad = tmp_path / f"{FURNACE}.yaml"
    bad.write_text(text.replace("timing:", "timming:", 1), "utf-8")
    answer = mitbench("profile", "check", bad, tmp_path / "nosuch.yaml")
    assert answer.code == 2
    assert "timming" in answer.err
    assert "nosuch.yaml" in answer.err
    assert "Traceback" not in answer.err


@pytest.mark.parametrize("profile", shipped())
@pytest.mark.parametrize("name", ["acceptance", "survey"])
def test_procedure_show_says_what_when_and_what_it_proves(profile: str, name: str) -> None:
    answer = mitbench("procedure", "show", profile, name)
    assert answer.code == 0, answer.err
    assert profile in answer.out.splitlines()[0]
    for part in ("Steps", "Expected windows", "Will prove"):
        assert f"\n{part}" in answer.out
    assert "call.Y on" in answer.out


def test_procedure_list_names_the_built_in_ones() -> None:
    assert {"acceptance", "survey"} <= {
        line.split()[0] for line in mitbench("procedure", "list").out.splitlines()
    }


@pytest.mark.parametrize(
    "args",
    [
        ["procedure", "show", FURNACE, "nonsense"],
        ["procedure", "show", FURNACE, "nosuch.yaml"],
        ["procedure", "show", "nonsense", "acceptance"],
        ["faults", "nonsense"],
        ["judge", "nosuch.jsonl"],
        ["run", FURNACE, "--fixture", "sim://?sed=1"],
        ["run", "nonsense", "--fixture", "sim://"],
        ["run", FURNACE, "--fixture", "sim://", "--procedure", "nonsense"],
    ],
)
def test_what_does_not_exist_is_one_sentence_and_exit_2(args: list[str], tmp_path: Path, monkeypatch) -> None:
    monkeypatch.chdir(tmp_path)
    answer = mitbench(*args)
    assert (answer.code, answer.out) == (2, "")
    assert len(answer.err.strip().splitlines()) == 1
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("profile", shipped())
def test_faults_are_listed_for_people_and_for_programs(profile: str) -> None:
    rows = json.loads(mitbench("faults", profile, "--json").out)
    people = mitbench("faults", profile).out
    assert {row["kind"] for row in rows} == {"board", "fixture"}
    for row in rows:
        assert row["name"] in people
        assert row["about"] in people
        assert (row["expected"] is None) == (row["kind"] == "fixture")
