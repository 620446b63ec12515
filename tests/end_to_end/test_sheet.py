"""The profile that FORMAT.md writes from a maker's sheet: its words suffice to test such a board."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import bench.profile
from bench.cli.provable import never_proven
from bench.judge.findings import REQUIREMENTS
from bench.profile import check, load
from bench.report import wording
from tests.end_to_end.command import mitbench, run_board

FORMAT = Path(bench.profile.__file__).parent / "FORMAT.md"
NAME = "invented-kb-2"


#: A leak turns into a loss while the signal goes below its range: past the clear level, where no time is stated for a clear.
CROSSING = """\
format: mitbench-procedure-1
name: crossing
steps:
  - sensor.1: clear
  - {board: closed, main: closed}
  - wait: {timer: warm_up, past: max}
  - sensor.1: leak
  - wait: 30 s
  - sensor.1: below-range
  - wait: 40 s
  - sensor.1: leak
  - wait: 30 s
"""


@pytest.fixture
def file(tmp_path: Path) -> Path:
    (text,) = re.findall(r"^```yaml\n(format: .*?)^```$", FORMAT.read_text("utf-8"), re.MULTILINE | re.DOTALL)
    path = tmp_path / f"{NAME}.yaml"
    path.write_text(text, "utf-8")
    return path


def test_nothing_is_wrong_with_it_but_the_short_hold(file: Path) -> None:
    report = check(str(file), never_proven)
    assert not report.errors
    (warning,) = map(str, report.warnings)
    assert "timing.hold: may be as short as 290 s; published" in warning


@pytest.mark.parametrize("procedure", ["acceptance", "short", "full", "levels"])
def test_a_good_board_passes(file: Path, tmp_path: Path, procedure: str) -> None:
    answer = run_board(str(file), "sim://?seed=7", tmp_path, "--procedure", procedure)
    assert (answer.code, answer.plain["reason"]) == (0, "everything that the profile demands was proven")


@pytest.mark.parametrize("seed", [7, 8, 9, 10])
def test_a_board_may_see_the_clear_level_on_the_way_out_of_range(
    file: Path, tmp_path: Path, seed: int
) -> None:
    procedure = tmp_path / "crossing.yaml"
    procedure.write_text(CROSSING, "utf-8")
    answer = run_board(str(file), f"sim://?seed={seed}", tmp_path, "--procedure", str(procedure))
    assert not [f for f in answer.plain["findings"] if f["verdict"] == "fail"]


@pytest.mark.parametrize(
    ("fault", "requirement", "words"),
    [
        ("stuck-on:Y2", "trip", "Y2 did not go off"),
        ("stuck-on:alarm.nc", "trip", "alarm.nc did not open"),
        ("restart-missing:Y2", "restart", "Y2 went on"),
        ("hold-short=8 s", "hold", "too early by"),
        ("range-ignored", "loss", "after sensor 1 went to 4.8"),
    ],
)
def test_a_broken_board_fails(file: Path, tmp_path: Path, fault: str, requirement: str, words: str) -> None:
    answer = run_board(str(file), f"sim://?seed=7&fault={fault}", tmp_path)
    assert answer.code == 1
    (first, *_) = [f for f in answer.plain["findings"] if f["verdict"] == "fail"]
    assert first["requirement"] == requirement and words in first["text"]


def test_the_delay_of_the_board_is_among_its_faults(file: Path) -> None:
    assert "restart-missing:Y2" in mitbench("faults", file).out
    assert "Output alarm.nc never closes." in mitbench("faults", file).out
    answer = mitbench("run", file, "--fixture", "sim://?fault=restart-short")
    assert answer.code == 2 and "did you mean 'restart-missing'?" in answer.err


@pytest.mark.parametrize(
    ("profile", "fault", "requirement"),
    [
        ("invented-split-furnace", "slow-trip=1 s", "trip"),
        ("invented-split-furnace", "hold-long=2 s", "hold"),
        (NAME, "slow-trip=5 s", "trip"),
    ],
)
def test_what_comes_late_fails_in_levels(
    file: Path, tmp_path: Path, profile: str, fault: str, requirement: str
) -> None:
    """Stairs alone show neither that a trip is not late nor that a hold is not too long."""
    which = str(file) if profile == NAME else profile
    answer = run_board(which, f"sim://?seed=7&fault={fault}", tmp_path, "--procedure", "levels")
    assert answer.code == 1
    assert requirement in {f["requirement"] for f in answer.plain["findings"] if f["verdict"] == "fail"}


def test_hysteresis_has_no_limits_in_the_table(file: Path, tmp_path: Path) -> None:
    answer = mitbench("run", file, "--procedure", "levels", "--fixture", "sim://", "--out", tmp_path)
    (line,) = re.findall(r"sensor 1 hysteresis: .*?not judged", " ".join(answer.out.split()))
    assert "limits" not in line


def test_what_is_shown_on_paper_is_what_a_run_proves(file: Path) -> None:
    """Restart delays too; and their stairs prove no trip that they give no limit."""
    shown = mitbench("procedure", "show", file, "acceptance").out
    assert re.search(r"^  restart +Y, Y2 +460\.000 to 505\.200 s", shown, re.MULTILINE)
    proven = shown.partition("Will prove:")[2].partition("Will not prove:")[0]
    assert re.search(r"^  restart +Y, Y2$", proven, re.MULTILINE)
    assert "Too narrow" not in shown


def test_nothing_is_shown_without_a_limit(file: Path) -> None:
    shown = mitbench("procedure", "show", file, "levels").out
    assert not re.search(r"  s( \(|$)", shown, re.MULTILINE)


def test_every_requirement_is_explained() -> None:
    text = FORMAT.read_text("utf-8")
    rows = dict(
        re.findall(r"^\| `([a-z-]+)` \| (.*?) \|$", text.partition("## Requirements")[2], re.MULTILINE)
    )
    assert rows == wording.REQUIREMENTS and list(rows) == list(REQUIREMENTS)


def test_it_is_read_as_the_sheet_says(file: Path) -> None:
    parameters = load(str(file)).parameters
    sensor = parameters.sensors[0]
    assert sensor.trip is not None and sensor.clear is not None
    # 18 to 22 %LFL and 10 to 14 %LFL of 0.5 to 4.5 V, without what the supply may be off by.
    assert (
        1_220_000 - 20_000 < sensor.trip.low_uv <= 1_220_000 and 1_380_000 <= sensor.trip.high_uv < 1_400_000
    )
    assert 900_000 - 20_000 < sensor.clear.low_uv <= 900_000 and 1_060_000 <= sensor.clear.high_uv < 1_080_000
    assert parameters.timing.hold is not None
    assert (parameters.timing.hold.min_us, parameters.timing.hold.max_us) == (290_000_000, 310_000_000)
