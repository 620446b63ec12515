"""Three makings of one text do the same: simulated board, the firmware's core, and its image."""

from __future__ import annotations

from itertools import combinations
from pathlib import Path

import pytest

from tests.cosim.three import BOARDS, PROFILES, Done, carried_out, furthest, random_procedure

#: Two that take about two minutes of board time; the long form is tests/performance/cosim_three.py.
SHORT = ((PROFILES[0], 8), (PROFILES[1], 7))


@pytest.mark.parametrize(("profile", "seed"), SHORT)
def test_random_procedures(tmp_path: Path, profile: str, seed: int) -> None:
    procedure = tmp_path / "procedure.yaml"
    procedure.write_text(random_procedure(seed, steps=4), "utf-8")
    done = {board: carried_out(board, profile, procedure, tmp_path) for board in BOARDS}
    assert sum(map(len, done["image"].edges.values())) > 2
    for one, other in combinations(BOARDS, 2):
        assert furthest(done[one], done[other])[1] == []


def test_a_board_that_differs_is_noticed(tmp_path: Path) -> None:
    procedure = tmp_path / "procedure.yaml"
    procedure.write_text(random_procedure(8, steps=4), "utf-8")
    done = carried_out("core", PROFILES[0], procedure, tmp_path)
    late = {name: [(v, a + 60_000, b + 60_000) for v, a, b in edges] for name, edges in done.edges.items()}
    moved = type(done)(done.verdict, done.reason, done.failed, late, done.stimuli)
    assert furthest(done, moved)[1] != []


def test_a_run_that_ends_early_differs() -> None:
    first, second = ("main", "closed", 1_000), ("call.Y", "on", 2_000)
    whole, short = (Done("pass", "", (), {}, stimuli) for stimuli in ([first, second], [first]))
    assert furthest(whole, whole) == (0, [])
    assert furthest(whole, short) == (0, [f"the stimuli differ: {(second, ())}"])
    assert furthest(short, whole) == (0, [f"the stimuli differ: {((), second)}"])
