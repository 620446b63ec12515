"""Procedure files: each mistake with its line, and what a person may write."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

import bench.procedure
from bench.errors import ProcedureError
from bench.procedure import load
from bench.procedure.plan import plan
from bench.procedure.reading import read_text
from bench.procedure.steps import FORMAT
from tests.boards import air_handler, furnace

HEAD = f"format: {FORMAT}\nname: x\nsteps:\n"


def mistakes(text: str) -> list[str]:
    with pytest.raises(ProcedureError) as e:
        plan(read_text(text.encode(), "p.yaml"), furnace())
    return str(e.value).split("\n")


@pytest.mark.parametrize(
    ("step", "said"),
    [
        ("wait: 10", r"steps\.1\.wait: is 10, a bare number; add the unit"),
        ("wait: {timer: hodl, at: 0.5}", r"wait\.timer: hodl is no timer \(did you mean hold\?\)"),
        ("wait: {timer: hold}", r"wait: write {timer: hold, past: max}"),
        ("wait: {timer: hold, at: 1.5}", r"wait: write .* from 0 to 1"),
        ("wait: {timer: hold, at: true}", r"wait: write "),
        ("wait: {at: 0.5}", r"wait\.timer: nothing is no timer"),
        ("{call.Y: on, wait: 3 s}", r"wait: must be a step of its own"),
        ("call.Y: true", r"call\.Y: true cannot be brought about"),
        ("call.Y:", r"call\.Y: nothing cannot be brought about"),
        ("cal.Y: on", r"cal\.Y: is no step \(did you mean call\?\)"),
        ("untill: {out.Y: on, at_most: 5 s}", r"untill: is no step \(did you mean until\?\)"),
        ("until: {out.Y: on}", r"until: needs what is to be seen and at_most"),
        ("until: {out.Y: 1, at_most: 5 s}", r"until\.out\.Y: 1 cannot be read"),
        ("require: {within: 5 s}", r"require: needs what is to be seen and within"),
        ("sensor.1: {ramp: {to: 24 %LFL, over: 30}}", r"ramp\.over: is 30, a bare number"),
        ("sensor.1: {rampe: 3}", r"sensor\.1: write a word, a quantity, or {ramp"),
        (
            "{sensor.1: {ramp: {to: leak, over: 3 s}}, call.Y: on}",
            r"a ramp or stairs must be a step of their own",
        ),
        ("prompt:", r"prompt: must be a sentence"),
        ("part: only", r"steps\.1: does nothing"),
        ("{part: 3, wait: 3 s}", r"part: must be a few words"),
        ("nothing", r"steps\.1: is no step"),
        ("{call.Y: on, call.Y: off}", r"call\.Y: stands twice"),
        # From here on it fits the form but not the board.
        ("call.Z: on", r"call\.Z: this board has no such stimulus; write one of main, board, call\.Y"),
        ("call.Y: closed", r"call\.Y: 'closed' is no position; write on or off"),
        ("sensor.7: leak", r"sensor\.7: this board has no such sensor"),
        ("sensor.1: leek", r"sensor\.1: 'leek' is no signal of this analog sensor; write leak, clear"),
        ("sensor.1: 20", r"sensor\.1: is 20, a bare number; add the unit"),
        ("sensor.1: 20 ppb", r"sensor\.1: has the unit 'ppb'"),
        ("sensor.1: 6 V", r"sensor\.1: 6\.000 V is outside 0 V to 5 V"),
        ("sensor.1: {ramp: {to: 24 %LFL, over: 30 s}}", r"sensor\.1: a ramp starts from a known signal"),
        ("until: {out.B: on, at_most: 5 s}", r"out\.B: write one of what can be seen"),
        ("until: {out.Y: closed, at_most: 5 s}", r"out\.Y: 'closed' cannot be read there; write on or off"),
        ("require: {out.Y: on, within: 5 s}", r"out\.Y: write one of the bench's own channels"),
    ],
)
def test_a_mistake_names_file_line_key_and_what_to_write(step, said):
    found = mistakes(HEAD + f"  - {step}\n")
    assert len(found) == 1
    assert re.match(rf"p\.yaml:4: .*{said}", found[0]), found[0]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", r"p\.yaml:1: is no procedure; begin with format: mitbench-procedure-1"),
        ("format: mitbench-profile-1\nname: x\nsteps: [{wait: 1 s}]", r"p\.yaml:1: format: "),
        (f"format: {FORMAT}\nsteps: [{{wait: 1 s}}]", r"p\.yaml:1: name: a procedure needs a name"),
        (f"format: {FORMAT}\nname: x\nsteps: 3", r"p\.yaml:3: steps: a procedure needs steps"),
        (
            HEAD + "  - wait: 1 s\nstpes: 3",
            r"p\.yaml:5: stpes: is no key of a procedure \(did you mean steps\?\)",
        ),
        (HEAD + "\t- wait: 1 s", r"p\.yaml:4: a tab stands where YAML wants spaces"),
    ],
)
def test_mistakes_of_the_whole_file(text, said):
    assert re.match(said, mistakes(text)[0]), mistakes(text)


def test_all_mistakes_come_at_once_in_order_of_the_lines():
    found = mistakes(HEAD + "  - wait: 1\n  - foo: 2\n  - call.Y: on\n  - prompt: 3\n")
    assert [line.split(":")[1] for line in found] == ["4", "5", "7"]


def test_mistakes_against_the_board_come_all_at_once_too():
    found = mistakes(HEAD + "  - call.Z: on\n  - call.Y: on\n  - sensor.1: leek\n")
    assert [line.split(":")[1] for line in found] == ["4", "6"]


@pytest.mark.parametrize("board", [furnace, air_handler])
def test_a_built_in_procedure_can_be_written_down_and_read_back(board):
    built = load("acceptance", board()).as_json()
    text = json.dumps({key: built[key] for key in ("format", "name", "about", "steps")})
    again = read_text(text.encode(), "again.yaml")  # JSON is YAML
    assert [s.doing for s in again.steps] == [s.doing for s in load("acceptance", board()).steps]


def test_the_example_of_the_format_fits_a_board():
    page = (Path(bench.procedure.__file__).parent / "FORMAT.md").read_text(encoding="utf-8")
    example = page.split("```yaml\n")[1].split("```")[0]
    assert len(plan(read_text(example.encode(), "FORMAT.md"), furnace())) == 10


def test_an_unknown_name_and_a_missing_file_are_one_sentence():
    with pytest.raises(ProcedureError, match="no such procedure; write acceptance or survey"):
        load("acceptence", furnace())
    with pytest.raises(ProcedureError, match="cannot be read"):
        load("/nowhere/mine.yaml", furnace())
