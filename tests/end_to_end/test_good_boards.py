"""Good boards pass; boards right up to their limits never fail."""

from __future__ import annotations

from pathlib import Path

import pytest

from bench.profile import shipped
from tests.end_to_end.command import run_board, sim
from tests.sampled import seeds_of

pytestmark = pytest.mark.slow


@pytest.mark.parametrize(
    ("profile", "seed"), [(name, seed) for name in shipped() for seed in range(seeds_of(name))]
)
def test_a_board_drawn_inside_its_limits_passes(profile: str, seed: int, tmp_path: Path) -> None:
    answer = run_board(profile, sim(seed=seed), tmp_path)
    assert answer.plain["verdict"] == "pass", answer.plain["reason"]
    assert answer.code == 0
    assert answer.plain["simulated"] is True
    assert answer.failed == []


@pytest.mark.parametrize("profile", shipped())
def test_a_board_drawn_anywhere_never_fails(profile: str, tmp_path: Path) -> None:
    count = seeds_of(profile)
    verdicts = [
        run_board(profile, sim(seed=n, draw="anywhere"), tmp_path).plain["verdict"] for n in range(count)
    ]
    print(f"{profile}: {verdicts.count('inconclusive')} of {count} boards drawn anywhere are inconclusive")
    assert set(verdicts) <= {"pass", "inconclusive"}


@pytest.mark.parametrize("profile", shipped())
def test_the_nominal_board_passes(profile: str, tmp_path: Path) -> None:
    assert run_board(profile, sim(draw="nominal"), tmp_path).code == 0


@pytest.mark.parametrize("profile", shipped())
def test_the_same_seed_gives_the_same_findings(profile: str, tmp_path: Path) -> None:
    first, second = (run_board(profile, sim(seed=5), tmp_path).plain for _ in range(2))
    assert first.pop("trace") != second.pop("trace")
    assert first == second
