"""Good boards under random stimuli are never failed; the same findings however the records come."""

from __future__ import annotations

import dataclasses
from itertools import pairwise

import pytest

from bench.judge import failures
from bench.judge.book import Book
from bench.judge.clock import EXACT
from bench.judge.feed import Feed
from bench.judge.judge import judge_trace
from bench.judge.live import LiveJudge
from bench.judge.tracker import Tracker
from bench.judge.window import Stamp
from bench.trace.records import Clock, Edge, End, Readback, Snapshot, Trace
from tests.boards import air_handler, furnace
from tests.judge.direct import random_run
from tests.scripted import failed

BOARDS = {"furnace": furnace, "air handler": air_handler}
SEEDS = range(40)
#: States times memory is the bound; a random run stays far below it.
MOST_POSSIBILITIES = 64


@pytest.mark.parametrize("board", BOARDS)
@pytest.mark.parametrize("draw", ["anywhere", "inside", "nominal"])
def test_a_good_board_is_never_failed(board, draw):
    for seed in SEEDS:
        judgement = random_run(BOARDS[board](), seed, draw).judge()
        assert not failed(judgement), f"seed {seed}: {failed(judgement)[0].text}"


@pytest.mark.parametrize("board", BOARDS)
def test_rules_that_are_not_stated_allow_every_answer(board):
    parameters = BOARDS[board]()
    free = dataclasses.replace(
        parameters.rules, hold_on_band=None, hold_when_lost=None, after_supply_loss=None
    )  # fmt: skip
    parameters = dataclasses.replace(parameters, rules=free)
    for seed in SEEDS:
        judgement = random_run(parameters, seed).judge()
        assert not failed(judgement), f"seed {seed}: {failed(judgement)[0].text}"


@pytest.mark.parametrize("board", BOARDS)
def test_possibilities_stay_few(board):
    parameters = BOARDS[board]()
    for seed in SEEDS:
        trace = random_run(parameters, seed).trace()
        assert trace.snapshot is not None
        book = Book(parameters, 0, "guarded")
        feed = Feed(parameters, EXACT, book)
        zero = Stamp(trace.snapshot.tick_us, 0)
        tracker = Tracker.start(parameters, 0, zero, feed.start(trace.snapshot), book, failures.resolve)
        tracker.push([e for r in trace.records for e in feed.record(r)])
        tracker.run(1 << 40)
        assert 1 <= tracker.most <= MOST_POSSIBILITIES


@pytest.mark.parametrize("board", BOARDS)
def test_record_by_record_gives_the_same_findings(board):
    parameters = BOARDS[board]()
    for seed in range(10):
        trace = random_run(parameters, seed).trace()
        live = LiveJudge(parameters, trace.header)
        for record in trace.records:
            live.feed(record)
        live.advance(trace.records[-1].tick_us + 10_000_000)
        whole = judge_trace(trace, parameters)
        said = {(f.requirement, f.output, f.verdict, f.at_s) for f in live.findings}
        # What the light showed is judged once all is known.
        judged = [f for f in whole.findings if f.requirement != "light"]
        assert {(f.requirement, f.output, f.verdict, f.at_s) for f in judged} <= said


@pytest.mark.parametrize("board", BOARDS)
def test_shifting_all_times_changes_nothing(board):
    parameters = BOARDS[board]()
    for seed in range(10):
        trace = random_run(parameters, seed).trace()
        before = judge_trace(trace, parameters)
        after = judge_trace(
            Trace(trace.header, tuple(_later(r, 7_654_321) for r in trace.records)), parameters
        )
        assert [(f.requirement, f.output, f.text) for f in before.findings] == [
            (f.requirement, f.output, f.text) for f in after.findings
        ]


def _later(record, by_us):
    if isinstance(record, (Edge, Readback)):
        return dataclasses.replace(
            record, earliest_us=record.earliest_us + by_us, latest_us=record.latest_us + by_us
        )  # fmt: skip
    if isinstance(record, (Snapshot, Clock, End)):
        return dataclasses.replace(record, tick_us=record.tick_us + by_us)
    return record


def test_findings_fall_in_order_of_verdict_then_time():
    judgement = random_run(furnace(), 3).judge()
    order = {"fail": 0, "inconclusive": 1, "pass": 2}
    keys = [(order[f.verdict], f.at_s) for f in judgement.findings]
    assert all(a <= b for a, b in pairwise(keys))
