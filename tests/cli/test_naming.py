"""File names carry date, unit and profile, are safe everywhere, and never overwrite."""

from __future__ import annotations

from pathlib import Path

import pytest

from bench.cli.naming import new_trace
from bench.errors import UsageError
from bench.records.naming import cleaned

MOMENT = "2025-03-04T10:20:30+00:00"


def test_a_name_has_date_unit_and_profile(tmp_path: Path) -> None:
    writer = new_trace(tmp_path / "deep" / "runs", MOMENT, "SN 0042", "invented-split-furnace")
    writer.close()
    assert (
        writer.path
        == tmp_path
        / "deep"
        / "runs"
        / "2025-03-04-102030_SN-0042_invented-split-furnace.jsonl".replace("2025-03-04", "20250304")
    )


def test_a_second_run_in_the_same_second_gets_its_own_file(tmp_path: Path) -> None:
    names = set()
    for _ in range(3):
        writer = new_trace(tmp_path, MOMENT, None, "board")
        writer.close()
        names.add(writer.path.name)
    assert len(names) == 3


@pytest.mark.parametrize(
    "nasty", ["../../etc/passwd", "a/b\\c:d*e?f", "\x00\n\t", "…", "CON.", "x" * 500, " - "]
)
def test_no_unit_text_leaves_the_folder(tmp_path: Path, nasty: str) -> None:
    writer = new_trace(tmp_path, MOMENT, nasty, "board")
    writer.close()
    assert writer.path.parent == tmp_path
    assert set(cleaned(nasty)) <= set("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789.-")
    assert len(writer.path.name) < 120


def test_an_out_that_is_a_file_is_refused_in_one_sentence(tmp_path: Path) -> None:
    (tmp_path / "runs").write_text("")
    with pytest.raises(UsageError, match="name another folder"):
        new_trace(tmp_path / "runs", MOMENT, None, "board")
