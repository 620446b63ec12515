"""The dry run: steps with times, what will be proven, what is too narrow."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from bench.judge.judge import judge_trace
from bench.procedure import load
from bench.procedure.reading import read_text
from bench.run.dry_run import dry_run, synthetic
from firmware_ref.parameters import Interval, Mode, Output, Policy, Restart
from tests.boards import MS, S, air_handler, furnace, within
from tests.run.fakes import profile_of

BOARDS = [furnace, air_handler]


@pytest.mark.parametrize("board", BOARDS)
def test_acceptance_proves_all_that_must_be_proven(board):
    parameters = board()
    trace, _ = synthetic(load("acceptance", parameters), profile_of(parameters))
    judgement = judge_trace(trace, parameters)
    assert (judgement.verdict, judgement.reason) == ("pass", "everything that the profile demands was proven")


@pytest.mark.parametrize("board", BOARDS)
def test_what_a_dry_run_tells(board):
    parameters = board()
    told = dry_run(load("acceptance", parameters), profile_of(parameters), judge_trace)
    json.dumps(told)
    assert told["board_seconds"] > 600
    assert {"follow:Y", "trip:G", "blocked:W", "hold", "re-leak", "kept-on-loss"} <= set(told["proves"])
    assert any("half cycle" in line for line in told["unproven"])
    hold = next(w for w in told["windows"] if w["requirement"] == "hold")
    timing = parameters.timing
    low_us = timing.clear.min_us + timing.hold.min_us
    high_us = timing.clear.max_us + timing.hold.max_us + parameters.outputs[0].react_on.max_us
    assert hold["limits"] == pytest.approx((low_us / 1e6, high_us / 1e6))
    assert told["too_narrow"] == []
    at = [step["at_s"] for step in told["steps"]]
    assert at == sorted(at) and at[-1] < told["board_seconds"]
    assert told["steps"][0]["part"] == "Power-up" and told["steps"][1]["text"].startswith("sensor.1 clear")


def test_without_a_judge_only_steps_and_times_are_told():
    told = dry_run(load("acceptance", furnace()), profile_of(furnace()))
    assert told["proves"] == told["windows"] == told["unproven"] == []


def test_a_short_procedure_leaves_the_rest_unproven():
    text = b"format: mitbench-procedure-1\nname: x\nsteps:\n  - sensor.1: clear\n  - {board: closed, main: closed}\n"
    told = dry_run(read_text(text, "x.yaml"), profile_of(furnace()), judge_trace)
    assert {"trip:Y", "hold", "re-leak", "loss"} <= set(told["unproven"])


def test_intervals_narrower_than_four_bounds_are_named():
    board = furnace()
    tight = Interval(360 * S, 360 * S + 240 * MS)  # bound of 360 s: 8 ms + 150 ppm of it = 62 ms
    wide = Interval(360 * S, 360 * S + 260 * MS)
    for hold, named in ((tight, True), (wide, False)):
        narrow = replace(board, timing=replace(board.timing, hold=hold))
        told = dry_run(load("acceptance", narrow), profile_of(narrow))
        assert any(line.startswith("hold: ") for line in told["too_narrow"]) is named


def test_alarm_contacts_open_and_close_on_their_own_channel():
    board = furnace()
    modes = {mode: Policy.ON if mode is Mode.LEAK_ACTIVE else Policy.OFF for mode in Mode}
    limit = within(500 * MS)
    alarm = Output(
        name="alarm.no", kind="contact-no", feed="own", call=None, modes=modes, follow_on=limit, follow_off=limit,
        react_on=limit, react_off=limit, trip=None, loss=None,
    )  # fmt: skip
    parameters = replace(board, outputs=(*board.outputs, alarm))
    trace, _ = synthetic(load("acceptance", parameters), profile_of(parameters))
    assert trace.records[0].values["alarm.no"] == "open"
    seen = [r.value for r in trace.records if getattr(r, "ch", "") == "alarm.no"]
    assert seen == ["closed", "open", "closed", "open"]  # leak and re-leak


@pytest.mark.parametrize("event", ["release", "return", "power-up", "any-off"])
def test_a_restart_delay_is_kept_on_paper(event):
    parameters = furnace()
    delay = Interval(20 * S, 24 * S)
    first = replace(parameters.outputs[0], restart=Restart(frozenset({event}), delay))
    parameters = replace(parameters, outputs=(first, *parameters.outputs[1:]))
    trace, _ = synthetic(load("acceptance", parameters), profile_of(parameters))
    judgement = judge_trace(trace, parameters)
    assert [f.text for f in judgement.findings if f.verdict == "fail"] == []
    assert any(f.requirement == "restart" and f.verdict == "pass" for f in judgement.findings)
