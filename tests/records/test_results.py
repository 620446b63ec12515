"""The log of results: nothing lost, nothing that a spreadsheet would calculate."""

from __future__ import annotations

import csv
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from bench.records.results import COLUMNS, append_result, row
from bench.trace.records import Header
from tests.report import runs


def add(path: Path, **changed: object) -> str | None:
    return append_result(path, runs.header(**changed), runs.judgement(), Path("somewhere") / "a.jsonl")


def read(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_one_line_a_run(tmp_path: Path) -> None:
    path = tmp_path / "results.csv"
    assert add(path) is None
    assert add(path, unit_under_test=None, simulated=True) is None
    first, second = read(path)
    assert first == {
        "date": "2025-11-25T14:03:11+00:00", "verdict": "fail", "reason": "hold: too early", "unit": "SN 1042",
        "operator": "J. Doe", "profile": "invented-split-furnace", "profile_sha256": "9f2c" * 16,
        "procedure": "acceptance", "simulated": "no", "board_seconds": "400.0", "passed": "2", "failed": "1",
        "inconclusive": "1", "not_exercised": "1", "not_judged": "1", "trace": "a.jsonl",
    }  # fmt: skip
    assert (second["unit"], second["simulated"]) == ("", "yes")
    assert [p.name for p in tmp_path.iterdir()] == ["results.csv"]


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", " =1", "\r\n=1", "＝1", "\x00=1"])
def test_no_cell_is_a_formula(text: str) -> None:
    header = runs.header(
        unit_under_test=text, operator=text, created=text, profile={"name": text}, procedure={"name": text}
    )
    cells = row(header, runs.judgement(reason=text), Path(text))
    assert not [c for c in cells if c.lstrip()[:1] in tuple("=+-@＝＋－＠\t\r\n\x00")[:8] and c]
    assert sum(c.startswith("'") for c in cells) >= 6


def test_separators_and_quotes_come_back_as_they_were(tmp_path: Path) -> None:
    path = tmp_path / "results.csv"
    add(path, unit_under_test='a,b;"c"', operator="Ω\nline two")
    assert (read(path)[0]["unit"], read(path)[0]["operator"]) == ('a,b;"c"', "Ω line two")
    assert len(path.read_bytes().splitlines()) == 2


@pytest.mark.parametrize("cut", [1, 5, 40, 80])
@pytest.mark.parametrize("reason", ["short", 'with, "quotes" and, commas'])
def test_a_damaged_last_line_swallows_nothing(tmp_path: Path, cut: int, reason: str) -> None:
    path = tmp_path / "results.csv"
    add(path, unit_under_test="first")
    append_result(path, runs.header(unit_under_test="second"), runs.judgement(reason=reason), None)
    kept = path.read_bytes()[:-cut]
    path.write_bytes(kept)
    told = add(path, unit_under_test="third")
    assert told is not None and str(path) in told and told.count("\n") == 0 and "cut off" in told
    assert path.read_bytes().startswith(kept)
    rows = read(path)
    assert (rows[0]["unit"], rows[-1]["unit"], len(rows)) == ("first", "third", 3)
    assert rows[-1]["trace"] == "a.jsonl"
    assert add(path) is None


def test_a_file_of_another_kind_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "results.csv"
    path.write_text("something;else\n1;2\n")
    told = add(path)
    assert told is not None and "results-2.csv" in told
    assert path.read_text() == "something;else\n1;2\n"
    assert len(read(tmp_path / "results-2.csv")) == 1


def test_an_empty_file_and_one_that_a_spreadsheet_saved(tmp_path: Path) -> None:
    empty, saved = tmp_path / "empty.csv", tmp_path / "saved.csv"
    empty.touch()
    saved.write_bytes(b"\xef\xbb\xbf" + ",".join(COLUMNS).encode() + b"\r\n")
    assert add(empty) is None and add(saved) is None
    assert len(read(empty)) == 1
    assert len(saved.read_bytes().splitlines()) == 2


def test_what_cannot_be_written_is_one_sentence(tmp_path: Path) -> None:
    told = add(tmp_path / "missing" / "results.csv")
    assert told is not None and "could not be added" in told and "\n" not in told


def test_many_writers_at_once(tmp_path: Path) -> None:
    path = tmp_path / "results.csv"

    def one(number: int) -> str | None:
        header: Header = runs.header(unit_under_test=f"unit {number}")
        return append_result(path, header, runs.judgement(), None)

    with ThreadPoolExecutor(16) as pool:
        told = list(pool.map(one, range(200)))
    assert set(told) == {None}
    assert sorted(r["unit"] for r in read(path)) == sorted(f"unit {n}" for n in range(200))
