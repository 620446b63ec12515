"""The same run gives the same verdict over every kind of link."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from tests.end_to_end.command import run_board, served, sim

pytestmark = pytest.mark.slow
PROFILE = "invented-split-furnace"

LINKS = [
    pytest.param(("--tcp", "0"), id="tcp"),
    pytest.param(
        ("--pty",), id="pty", marks=pytest.mark.skipif(os.name == "nt", reason="Windows has no pty")
    ),
]


@pytest.mark.parametrize("link", LINKS)
@pytest.mark.parametrize("fault", [None, "hold-short"])
def test_same_verdict_as_in_the_same_process(
    link: tuple[str, ...], fault: str | None, tmp_path: Path
) -> None:
    faults = [fault] if fault else []
    near = run_board(PROFILE, sim(*faults, seed=3), tmp_path)
    options = [word for name in faults for word in ("--fault", name)]
    with served(PROFILE, "--seed", "3", "--speed", "max", *options, *link) as url:
        far = run_board(PROFILE, url, tmp_path)
    assert far.plain["verdict"] == near.plain["verdict"]
    assert far.code == near.code
    assert [(f["requirement"], f["output"], f["kind"]) for f in far.failed] == [
        (f["requirement"], f["output"], f["kind"]) for f in near.failed
    ]
    assert far.plain["simulated"] is True
