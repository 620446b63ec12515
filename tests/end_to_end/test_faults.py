"""Each fault that can be given to the simulated bench is found, under the name that its table claims."""

from __future__ import annotations

from pathlib import Path

import pytest

from bench.profile import load, shipped
from bench.simulated.faults import Entry, catalogue
from firmware_ref.parameters import Parameters
from tests.end_to_end.command import mitbench, run_board, sim
from tests.end_to_end.test_every_requirement import ALARM
from tests.sampled import taken

pytestmark = pytest.mark.slow


def rows(kind: str) -> list[object]:
    return [
        pytest.param(profile, entry, id=f"{profile}-{entry.name}")
        for profile in shipped()
        for entry in catalogue(load(profile).parameters)
        if entry.kind == kind and taken(profile, entry.name)
    ]


def beyond_acceptance() -> list[object]:
    """Of the faults that acceptance passes, each on the first shipped board that can have it; one that none can have."""
    first: dict[str, tuple[str, Entry]] = {}
    for profile in shipped():
        for procedure in ("full", "levels"):
            for entry in catalogue(load(profile).parameters, procedure):
                if entry.kind == "board":
                    first.setdefault(entry.name.partition(":")[0], (profile, entry))
    at_once = next(e for e in catalogue(load(ALARM).parameters) if e.name == "clears-at-once")
    first[at_once.name] = (ALARM, at_once)
    return [pytest.param(profile, entry, id=entry.name) for profile, entry in first.values()]


def touched(entry: Entry, parameters: Parameters) -> set[str | None]:
    """The outputs that a fault can move: those it names, those of the call it names, else all."""
    everything = {o.name for o in parameters.outputs}
    named = set(entry.name.partition(":")[2].split(","))
    if entry.name.startswith("call-dead:"):
        named = {o.name for o in parameters.outputs if o.call in named}
    return {None, *(named & everything or everything)}


@pytest.mark.parametrize(("profile", "entry"), rows("board"))
def test_a_board_fault_fails_as_tabled(profile: str, entry: Entry, tmp_path: Path) -> None:
    answer = run_board(profile, sim(entry.name), tmp_path)
    assert answer.plain["verdict"] == "fail", answer.plain["reason"]
    assert answer.code == 1
    assert answer.first() == tuple(entry.expected or ())
    assert {f["output"] for f in answer.failed} <= touched(entry, load(profile).parameters)


@pytest.mark.parametrize(("profile", "entry"), beyond_acceptance())
def test_a_fault_that_acceptance_cannot_show_fails_as_tabled(
    profile: str, entry: Entry, tmp_path: Path
) -> None:
    answer = run_board(profile, sim(entry.name), tmp_path, "--procedure", entry.procedure)
    assert answer.code == 1, answer.plain["reason"]
    assert entry.expected is not None
    # Which output shows it first, and whether it still moves when the stimulus is gone, is chance.
    assert entry.expected[0] in {f["requirement"] for f in answer.failed}
    if entry.procedure == "acceptance":
        assert answer.first() == entry.expected


@pytest.mark.parametrize(("profile", "entry"), rows("fixture"))
def test_a_fixture_fault_is_never_a_boards_fail(profile: str, entry: Entry, tmp_path: Path) -> None:
    answer = run_board(profile, sim(entry.name), tmp_path)
    fault, _, channel = entry.name.partition(":")
    if (fault == "input-dead" and channel.startswith("out.")) or channel.startswith("alarm."):
        # One exception: such an input looks like an output that is stuck off, and the finding says so. One that
        # is stuck on reads on before the board has supply, so it is known for the bench's own; but a contact of
        # the board may be closed then.
        assert answer.code == 1
        assert all("loop-back" in f["text"] for f in answer.failed)
    elif fault == "inputs-swapped":
        # The other: it looks like outputs that are crossed, and the finding says so.
        assert answer.code == 1
        assert "loop-back" in answer.failed[0]["text"]
    else:
        assert answer.plain["verdict"] == "bench-fault", answer.plain["reason"]
        assert answer.code == 4
        assert len(answer.err.strip().splitlines()) == 1


@pytest.mark.parametrize("profile", shipped())
def test_a_fault_the_board_cannot_have_is_refused_in_one_sentence(profile: str, tmp_path: Path) -> None:
    for fault in ("stuck-on:NOSUCH", "nonsense", "hold-short=3 %LFL", "hold-short=", "crossed:Y"):
        answer = run_board(profile, sim(fault), tmp_path)
        assert (answer.code, answer.out) == (2, ""), fault
        assert len(answer.err.strip().splitlines()) == 1


def test_the_table_is_printed_for_programs() -> None:
    listed = mitbench("faults", shipped()[0], "--json").plain
    names = {row["name"].partition(":")[0] for row in listed}  # type: ignore[attr-defined]
    assert {"stuck-on", "hold-short", "loss-ignored", "relay-dead", "unplugged"} <= names
