"""`fixture check`: every fault of the catalogue is found, and the record it leaves is used by `run` and `judge`."""

from __future__ import annotations

import json
import platform
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from bench.profile import load, shipped
from bench.profile.wiring import channel_table
from bench.report.cautions import SIMULATED
from bench.simulated.faults import Entry, catalogue
from bench.trace.calibration import _checksum, from_json
from tests.end_to_end.command import Answer, mitbench, run_board
from tests.sampled import taken

PLUG = "&plug=loop-back"
PROFILE = "invented-split-furnace"


def check(out: Path, query: str = "", *more: str) -> Answer:
    return mitbench("fixture", "check", f"sim://?{query.lstrip('&')}", "--out", out, *more)


def faults(*without: str) -> list[object]:
    return [
        pytest.param(profile, entry, id=f"{profile}-{entry.name}")
        for profile in shipped()
        for entry in catalogue(load(profile).parameters)
        if entry.kind == "fixture" and not entry.name.startswith(without) and taken(profile, entry.name)
    ]


def recorded(out: Path, serial: str = "seed-0") -> dict[str, Any]:
    return json.loads((out / f"fixture-{serial}.json").read_text("utf-8"))


# -- a sound fixture ---------------------------------------------------------------------------


def test_a_sound_fixture_with_the_plug(tmp_path: Path) -> None:
    answer = check(tmp_path, PLUG)
    assert (answer.code, answer.err) == (0, "")
    for said in (SIMULATED, "error queue works", "self-test passed", "13 relays move", "4 sensor signals",
                 "15 inputs come and go", "dead man: everything opened", "the fixture's clock runs"):  # fmt: skip
        assert said in answer.out
    record = from_json(recorded(tmp_path))
    assert record.simulated
    assert record.fixture["serial"] == "seed-0"
    assert len(record.relays) == 13
    assert len(record.sensors) == 4
    assert record.clock.seconds >= 60
    assert len(record.inputs) == 15
    assert record.plugged == record.created
    assert {r.seen_at for r in record.relays} > {"out.Y", "alarm.no"}


def test_without_the_plug_it_says_what_was_not_covered(tmp_path: Path) -> None:
    answer = check(tmp_path)
    assert answer.code == 0
    (line,) = [line for line in answer.out.splitlines() if "not covered" in line]
    for name in ("sense.board", "out.Y", "alarm.no", "light"):
        assert name in line
    record = from_json(recorded(tmp_path))
    assert record.inputs == ()
    assert {r.seen_at for r in record.relays} == {"position"}


def test_what_the_plug_covered_stays_known_when_it_is_not_fitted(tmp_path: Path) -> None:
    check(tmp_path, PLUG)
    before = from_json(recorded(tmp_path))
    answer = check(tmp_path)
    after = from_json(recorded(tmp_path))
    assert (after.inputs, after.plugged) == (before.inputs, before.plugged)
    assert f"it covered 15 inputs when it was fitted last, {before.plugged}" in answer.out


@pytest.mark.parametrize("profile", shipped())
def test_any_board_may_have_been_named(profile: str, tmp_path: Path) -> None:
    assert check(tmp_path, f"profile={profile}{PLUG}&seed=3").code == 0


# -- an unsound one ----------------------------------------------------------------------------


@pytest.mark.parametrize(("profile", "entry"), faults())
def test_every_fault_of_the_fixture_is_found_with_the_plug(
    profile: str, entry: Entry, tmp_path: Path
) -> None:
    # The plug is looked for by the very input that the first of these makes dead.
    more = ["--plug"] if entry.name == "input-dead:alarm.no" else []
    answer = check(tmp_path, f"profile={profile}&fault={entry.name}{PLUG}", *more)
    assert answer.code == 4
    (sentence,) = answer.err.strip().splitlines()
    fault, _, where = entry.name.partition(":")
    # The check tells the fixture's own names.
    wiring, table = load(profile).wiring, channel_table()
    where = ",".join(next(c.name for c in table if c.number == wiring[ch]) for ch in where.split(",") if ch)
    named = {
        "fixture-reboots": ["restarted"],
        "unplugged": ["broke"],
        "main-shorted": ["main (channel 1) is open", "shorted"],
        "signal-drift": ["sensor.1 ", "sensor.4 "],
    }
    for name in named.get(fault) or [
        f"{ch} (channel " if fault != "input-stuck" else ch for ch in where.split(",")
    ]:
        assert name in sentence
    assert "fixture check" not in sentence
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("profile", "entry"),
    # A contact that rests closed reads as one that is stuck.
    faults(
        "input-dead:out", "input-dead:alarm", "input-dead:sense.board", "input-stuck:alarm.nc", "inputs-swapped"
    ),
)  # fmt: skip
def test_without_the_plug_all_but_dead_and_swapped_inputs(profile: str, entry: Entry, tmp_path: Path) -> None:
    assert check(tmp_path, f"profile={profile}&fault={entry.name}").code == 4


@pytest.mark.parametrize(
    "fault", ["input-dead:27", "input-stuck:27", "input-dead:28", "input-stuck:28", "input-dead:29"]
)
def test_alarm_and_light_inputs_when_the_plug_is_said_to_be_fitted(fault: str, tmp_path: Path) -> None:
    answer = check(tmp_path, f"fault={fault}{PLUG}", "--plug")
    assert answer.code == 4
    assert f"(channel {fault[-2:]})" in answer.err


def test_a_plug_that_is_not_there_though_it_is_said_to_be(tmp_path: Path) -> None:
    answer = check(tmp_path, "", "--plug")
    assert answer.code == 4
    assert "plug" in answer.err
    assert len(answer.err.strip().splitlines()) == 1


def test_nothing_there(tmp_path: Path) -> None:
    answer = mitbench("fixture", "check", "no/such", "--out", tmp_path)
    assert answer.code == 4
    assert len(answer.err.strip().splitlines()) == 1


def test_a_record_does_not_outlive_its_fixtures_soundness(tmp_path: Path) -> None:
    check(tmp_path, PLUG)
    answer = check(tmp_path, f"fault=input-dead:out.W{PLUG}")
    assert answer.code == 4
    assert "out.W" in answer.err
    assert "does not hold any more" in answer.err
    assert [p.name for p in tmp_path.iterdir()] == ["fixture-seed-0.void.json"]


# -- the computer's clock ----------------------------------------------------------------------


def test_the_computers_rate_goes_into_the_record_and_stays_there(tmp_path: Path) -> None:
    assert check(tmp_path, "", "--computer-clock", "+12.5 ppm within 3 ppm").code == 0
    computer = from_json(recorded(tmp_path)).computer
    assert computer is not None
    assert (computer.name, computer.ppm, computer.within_ppm) == (platform.node(), 12.5, 3.0)
    answer = check(tmp_path)
    assert "+12.5 ppm within 3 ppm" in answer.out
    assert from_json(recorded(tmp_path)).computer == computer


@pytest.mark.parametrize(
    "text",
    [
        "",
        "12",
        "fast",
        "12 within",
        "12 within 0",
        "12 within -3",
        "12 within 200",
        "9000 within 3",
        "nan within 3",
    ],
)
def test_a_rate_that_cannot_be_is_refused(text: str, tmp_path: Path) -> None:
    answer = check(tmp_path, "", "--computer-clock", text)
    assert (answer.code, answer.out) == (2, "")
    assert len(answer.err.strip().splitlines()) == 1


# -- the record in use -------------------------------------------------------------------------


def test_a_run_uses_it_and_so_does_every_later_judgement(tmp_path: Path) -> None:
    dead = "sim://?fault=stuck-off:W"
    plain = run_board(PROFILE, dead, tmp_path / "plain")
    assert "loop-back plug" in plain.failed[0]["text"]
    check(tmp_path, PLUG, "--computer-clock", "0 within 2")
    answer = run_board(PROFILE, dead, tmp_path)
    assert answer.code == 1
    assert answer.err == ""
    assert "loop-back plug" not in answer.failed[0]["text"]
    bounds = [
        [f["bound"] for f in a.plain["findings"] if f["requirement"] == "hold"] for a in (plain, answer)
    ]
    assert bounds[1] < bounds[0]
    assert max(bounds[1]) <= 0.05
    again = mitbench("judge", answer.plain["trace"], "--json")
    assert again.plain["findings"] == answer.plain["findings"]


def test_the_rate_of_another_computer_is_not_used(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    check(tmp_path, PLUG, "--computer-clock", "0 within 2")
    monkeypatch.setattr(platform, "node", lambda: "another")
    answer = run_board(PROFILE, "sim://", tmp_path)
    header = json.loads(Path(answer.plain["trace"]).read_text("utf-8").splitlines()[0])
    assert header["calibration"]["computer"] is None
    assert len(header["calibration"]["inputs"]) == 15


def resealed(plain: dict[str, Any], **changes: Any) -> str:
    changed = {k: v for k, v in {**plain, **changes}.items() if k != "sha256"}
    return json.dumps({**changed, "sha256": _checksum(changed)})


DAMAGE: dict[str, Callable[[str], str]] = {
    "empty": lambda text: "",
    "half": lambda text: text[: len(text) // 2],
    "one figure": lambda text: text.replace('"inputs": [', '"inputs": [1,', 1),
    "no object": lambda text: "[]",
    "nested": lambda text: "[" * 100_000,
    "other": lambda text: text.replace("mitbench-calibration-1", "mitbench-calibration-9"),
    "foreign": lambda text: resealed(
        json.loads(text), fixture={**json.loads(text)["fixture"], "serial": "seed-7"}
    ),
    "newer": lambda text: resealed(
        json.loads(text), fixture={**json.loads(text)["fixture"], "firmware": "9.9"}
    ),
    "real": lambda text: resealed(json.loads(text), simulated=False),
    "wild": lambda text: resealed(json.loads(text), inputs=["out.Y"]),
}


@pytest.mark.parametrize("damage", DAMAGE)
def test_a_damaged_or_foreign_record_is_told_and_not_used(damage: str, tmp_path: Path) -> None:
    check(tmp_path, PLUG, "--computer-clock", "300 within 1")
    path = tmp_path / "fixture-seed-0.json"
    path.write_text(DAMAGE[damage](path.read_text("utf-8")), "utf-8")
    answer = run_board(PROFILE, "sim://", tmp_path)
    assert (answer.code, answer.plain["verdict"]) == (0, "pass")
    (sentence,) = answer.err.strip().splitlines()
    assert str(path) in sentence
    assert "not used" in sentence
    header = json.loads(Path(answer.plain["trace"]).read_text("utf-8").splitlines()[0])
    assert "calibration" not in header


def test_a_trace_whose_record_was_changed_is_refused(tmp_path: Path) -> None:
    check(tmp_path, PLUG)
    trace = Path(run_board(PROFILE, "sim://", tmp_path).plain["trace"])
    trace.write_text(trace.read_text("utf-8").replace('"inputs":[15,', '"inputs":[14,', 1), "utf-8")
    answer = mitbench("judge", trace)
    assert (answer.code, answer.out) == (2, "")
    assert "was changed or damaged" in answer.err


def test_no_run_is_made_with_the_plug_in_the_boards_place(tmp_path: Path) -> None:
    answer = run_board(PROFILE, "sim://?plug=loop-back", tmp_path)
    assert (answer.code, answer.out) == (2, "")
    assert "loop-back plug" in answer.err
