"""The procedures from the command line, over a simulated fixture."""

from __future__ import annotations

import pytest

from bench.profile import load, shipped
from bench.simulated.faults import catalogue
from tests.end_to_end.command import mitbench, run_board, sim
from tests.firmware_ref.board.core import profile_of

pytestmark = pytest.mark.slow


@pytest.mark.parametrize(
    "more", [("short",), ("full",), ("levels",), ("timing", "--repeat", "3")], ids=lambda m: m[0]
)
@pytest.mark.parametrize("profile", shipped())
def test_a_good_board_passes(profile, more, tmp_path):
    answer = run_board(profile, sim(seed=7), tmp_path, "--procedure", *more)
    assert answer.plain["verdict"] == "pass", answer.plain["reason"]
    assert answer.plain["procedure"] == more[0]
    rows = answer.plain["repeated"]
    if more[0] != "timing":
        assert rows == []
        return
    hold = next(r for r in rows if r["requirement"] == "hold")
    # A board whose sensor-fault ends in a hold shows more of them.
    assert hold["count"] >= 3 and hold["unit"] == "s"
    assert hold["tolerance"][0] < hold["mean_within"][0] < hold["mean"]
    again = mitbench("judge", answer.plain["trace"])
    assert "How repeated timings scatter" in again.out


@pytest.mark.parametrize("profile", shipped())
def test_what_only_levels_finds_fails_by_its_name(profile, tmp_path):
    entries = catalogue(load(profile).parameters, "levels")
    for entry in (e for e in entries if e.kind == "board"):
        answer = run_board(profile, sim(entry.name), tmp_path, "--procedure", "levels")
        assert answer.first() == entry.expected, entry.name
        assert run_board(profile, sim(entry.name), tmp_path).plain["verdict"] == "pass", entry.name


@pytest.mark.parametrize("fault", ["", "range-ignored", "loss-ignored", "trip-high", "clear-high"])
def test_a_sensor_with_all_that_an_analog_one_may_have(fault, tmp_path):
    profile = profile_of("invented-sensor-trial")
    for procedure in ("acceptance", "levels"):
        answer = run_board(profile, sim(*filter(None, [fault]), seed=3), tmp_path, "--procedure", procedure)
        told = {f["requirement"] for f in answer.failed}
        if procedure == "levels" and fault in ("trip-high", "clear-high"):
            assert answer.first()[0] == "level"
        elif procedure == "levels" and not fault:
            units = [set(level["value"]) for level in answer.plain["levels"]]
            assert answer.plain["verdict"] == "pass" and units == [{"V", "%LFL", "ppm"}] * 3
        elif procedure == "acceptance" and fault != "clear-high":
            wanted = {"range-ignored": "return", "loss-ignored": "return", "trip-high": "trip"}.get(fault)
            assert told == set() if wanted is None else answer.first()[0] == wanted


@pytest.mark.parametrize(
    ("profile", "procedure", "fault", "requirement"),
    [
        ("invented-split-furnace", "short", "no-restart", "re-leak"),
        ("invented-split-furnace", "short", "hold-short", "hold"),
        ("invented-air-handler", "short", "loss-ignored", "loss"),
        ("invented-split-furnace", "full", "clears-between", "hold"),
        ("invented-air-handler", "full", "forgets-fault", "latch"),
        ("invented-split-furnace", "levels", "clears-between", "level"),
        ("invented-split-furnace", "timing", "slow-trip", "trip"),
    ],
)
def test_a_fault_is_found(profile, procedure, fault, requirement, tmp_path):
    answer = run_board(profile, sim(fault), tmp_path, "--procedure", procedure)
    assert answer.plain["verdict"] == "fail"
    assert requirement in {f["requirement"] for f in answer.failed}


def test_show_says_what_cannot_be_exercised():
    shown = mitbench("procedure", "show", "invented-air-handler", "full")
    assert shown.code == 0 and "Cannot exercise:" in shown.out and "no sensor is analog" in shown.out


def test_repeat_goes_with_timing_only(tmp_path):
    answer = run_board("invented-split-furnace", sim(), tmp_path, "--procedure", "short", "--repeat", "3")
    assert (answer.code, answer.out) == (2, "")
    assert "goes with the procedure timing" in answer.err
    twice, thrice = (
        mitbench("procedure", "show", "invented-split-furnace", "timing", "--repeat", n).out for n in "23"
    )
    assert twice.count("Hold and release") == 2 and thrice.count("Hold and release") == 3
