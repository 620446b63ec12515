"""The README shows what the commands really print, and names the commands that CI runs."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tests.readme import README, ROOT, agrees, printed, shown

TEXT = README.read_text("utf-8")


@pytest.mark.slow
def test_every_command_prints_what_the_readme_shows(tmp_path: Path) -> None:
    parts = shown(TEXT)
    assert len(parts) >= 5
    for part in parts:  # in order and in one folder: later ones use the files of earlier ones
        actual = printed(part.command, tmp_path)
        assert agrees(part.output, actual), f"$ {part.command}\n" + "\n".join(actual)


@pytest.mark.parametrize(
    ("expected", "actual", "same"),
    [
        (("a", "b"), ["a", "b"], True),
        (("a", "b"), ["a", "c"], False),
        (("a", "…", "d"), ["a", "b", "c", "d"], True),
        (("a", "…"), ["a"], True),
        (("a", "…", "d"), ["a", "b"], False),
        (("runs/20250304-102030_x",), ["runs/20260708-090000_x"], True),
        (("runs/20250304-102030_x",), ["runs/20260708-090000_y"], False),
    ],
)
def test_the_comparison_itself(expected: tuple[str, ...], actual: list[str], same: bool) -> None:
    assert agrees(expected, actual) is same


def test_ci_runs_the_readmes_test_command() -> None:
    assert re.search(r"^\S.*&& make test$", TEXT, re.MULTILINE)
    assert re.search(r"^make test\b", (ROOT / ".ci" / "run").read_text("utf-8"), re.MULTILINE)


def test_every_make_target_the_readme_names_exists() -> None:
    targets = set(re.findall(r"^([a-z]+):", (ROOT / "Makefile").read_text("utf-8"), re.MULTILINE))
    assert set(re.findall(r"\bmake ([a-z]+)\b(?! sure)", TEXT)) <= targets
