"""One board tested twice without a pause: the second run finds it as the first one did."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.end_to_end.command import run_board, served

pytestmark = pytest.mark.slow


@pytest.mark.parametrize("profile", ["invented-split-furnace", "invented-air-handler"])
def test_the_same_board_passes_twice(profile: str, tmp_path: Path) -> None:
    with served(profile, "--seed", "4", "--speed", "max", "--tcp", "0") as url:
        verdicts = [run_board(profile, url, tmp_path).plain["verdict"] for _ in range(3)]
    assert verdicts == ["pass"] * 3
