"""`run`, `judge` and `demo`: what they print, keep and return."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest

from bench.report.cautions import CAUTIONS, SIMULATED
from tests.end_to_end.command import mitbench, run_board, sim

FURNACE = "invented-split-furnace"
KEYS = [
    "verdict", "reason", "simulated", "profile", "procedure", "unit_under_test", "operator", "trace",
    "board_seconds", "findings", "not_exercised", "not_judged", "cannot_show", "levels", "repeated",
]  # fmt: skip
FINDING_KEYS = {
    "requirement", "also", "output", "verdict", "kind", "count", "at_s", "measured", "limits", "bound",
    "uncertainty", "margin", "unit", "text",
}  # fmt: skip


def test_the_json_object_has_the_keys_it_promises(tmp_path: Path) -> None:
    answer = run_board(FURNACE, sim("hold-short"), tmp_path, "--unit", "SN 1", "--operator", "J. Doe")
    plain = answer.plain
    assert answer.code == 1
    assert answer.err == ""
    assert list(plain) == KEYS
    assert (plain["unit_under_test"], plain["operator"]) == ("SN 1", "J. Doe")
    assert (plain["profile"], plain["procedure"]) == (FURNACE, "acceptance")
    for finding in plain["findings"]:
        assert set(finding) >= FINDING_KEYS
        assert (finding["kind"] is None) == (finding["verdict"] != "fail")
        assert finding["limits"] is None or len(finding["limits"]) == 2
    verdicts = [f["verdict"] for f in plain["findings"]]
    assert verdicts == sorted(verdicts, key=["fail", "inconclusive", "pass"].index)
    fails = [f["at_s"] for f in plain["findings"] if f["verdict"] == "fail"]
    assert fails == sorted(fails)


def test_a_run_leaves_a_trace_a_page_and_a_line(tmp_path: Path) -> None:
    first = run_board(FURNACE, sim(), tmp_path, "--unit", "A/1")
    second = run_board(FURNACE, sim(), tmp_path, "--unit", "A/1")
    traces = [Path(first.plain["trace"]), Path(second.plain["trace"])]
    assert traces[0] != traces[1]
    for trace in traces:
        assert trace.parent == tmp_path
        assert SIMULATED in trace.with_suffix(".html").read_text("utf-8")
        header = json.loads(trace.read_text("utf-8").splitlines()[0])
        assert header["simulated"] is True
        assert header["profile"]["name"] == FURNACE
        assert header["dry_run"]["board_seconds"] > 600
    with (tmp_path / "results.csv").open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert [row["trace"] for row in rows] == [t.name for t in traces]
    assert {row["unit"] for row in rows} == {"A/1"}


def test_a_person_sees_cautions_findings_and_files(tmp_path: Path) -> None:
    answer = mitbench("run", FURNACE, "--fixture", sim("stuck-on:W"), "--out", tmp_path)
    assert answer.code == 1
    flat = " ".join(answer.out.split())
    for caution in CAUTIONS:
        assert caution in flat
    assert SIMULATED in answer.out
    assert "FAIL" in answer.out
    assert "trip, output W: missing" in answer.out
    for place in (*tmp_path.glob("*.jsonl"), *tmp_path.glob("*.html"), tmp_path / "results.csv"):
        assert str(place) in answer.out


def test_a_stored_trace_is_judged_alike_again(tmp_path: Path) -> None:
    for url in (sim(), sim("hold-short")):
        first = run_board(FURNACE, url, tmp_path)
        again = mitbench("judge", first.plain["trace"], "--json")
        assert again.code == first.code
        assert again.plain == first.plain


def test_a_profile_changed_in_a_stored_trace_is_noticed(tmp_path: Path) -> None:
    trace = Path(run_board(FURNACE, sim(), tmp_path).plain["trace"])
    text = trace.read_text("utf-8")
    assert '"nominal": "6 min"' in text or '"nominal":"6 min"' in text
    trace.write_text(text.replace("6 min", "1 min", 1), "utf-8")
    refused = mitbench("judge", trace)
    assert refused.code == 2
    assert "fingerprint differs" in refused.err
    assert mitbench("judge", trace, "--profile", FURNACE).code == 0


@pytest.mark.parametrize(
    "two", [("--json", "--budget"), ("--explain", "5", "--json"), ("--against", "simple", "--budget")]
)
def test_two_answers_at_once_are_refused(two: tuple[str, ...], tmp_path: Path) -> None:
    refused = mitbench("judge", tmp_path / "any.jsonl", *two)
    assert refused.code == 2
    assert "write one of them" in refused.err


def test_a_stored_trace_is_judged_by_another_profile(tmp_path: Path) -> None:
    from bench.data import profiles_dir

    text = (profiles_dir() / f"{FURNACE}.yaml").read_text("utf-8")
    assert "hold: {nominal: 6 min" in text
    longer = tmp_path / f"{FURNACE}.yaml"
    longer.write_text(text.replace("hold: {nominal: 6 min", "hold: {nominal: 7 min"), "utf-8")
    trace = run_board(FURNACE, sim(), tmp_path).plain["trace"]
    answer = mitbench("judge", trace, "--profile", longer, "--json")
    assert answer.code == 1
    assert answer.first() == ("hold", None, "too-early")


def test_survey_is_inconclusive_and_all_not_judged(tmp_path: Path) -> None:
    answer = run_board(FURNACE, sim("hold-short"), tmp_path, "--procedure", "survey")
    assert answer.code == 3
    assert answer.failed == []
    assert answer.plain["not_judged"]


@pytest.mark.parametrize(
    ("ports", "said"),
    [
        ([], "--fixture sim://"),
        (["no/such/port"], "--fixture sim://"),
        (["sim://?seed=1", "sim://?seed=2"], "more than one"),
    ],
)
def test_without_a_fixture_nothing_is_simulated(
    ports: list[str], said: str, plugged_in, tmp_path: Path
) -> None:
    plugged_in(*ports)
    answer = mitbench("run", FURNACE, "--out", tmp_path, "--json")
    assert answer.code == 4
    assert answer.plain["verdict"] == "bench-fault"
    assert answer.plain["trace"] is None
    assert said in answer.err
    assert len(answer.err.splitlines()) == 1
    people = mitbench("run", FURNACE, "--out", tmp_path)
    assert (people.code, people.out, people.err) == (4, "", answer.err)
    assert list(tmp_path.iterdir()) == []


def test_without_fixture_the_one_that_is_found_is_taken(plugged_in, tmp_path: Path) -> None:
    plugged_in("no/such/port", "sim://?seed=4")
    answer = mitbench("run", FURNACE, "--out", tmp_path, "--json")
    assert answer.code == 0
    assert answer.plain["verdict"] == "pass"


def test_the_demo_ends_as_announced(tmp_path: Path) -> None:
    answer = mitbench("demo", "--out", tmp_path)
    assert answer.code == 0
    verdicts = [line.rpartition(": ")[2] for line in answer.out.splitlines() if line.startswith("demo-")]
    assert verdicts == ["PASS", "FAIL", "FAIL"]
    assert "W did not go off" in answer.out
    assert "too early by" in answer.out
    assert SIMULATED in answer.out
    assert len(list(tmp_path.glob("*.jsonl"))) == 3


def test_a_demo_that_ends_otherwise_says_so(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    from bench.cli import demo

    monkeypatch.setattr(
        demo, "BOARDS", (demo.Board("demo-1", "not what it seems", "stuck-off:Y", "trip", "W"),)
    )
    answer = mitbench("demo", "--out", tmp_path)
    assert answer.code == 1
    assert "not what was announced" in answer.out
