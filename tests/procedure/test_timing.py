"""`timing`: good boards pass, each timing comes as often as asked, and its spread is told."""

from __future__ import annotations

import os
import statistics
from dataclasses import replace

import pytest

from bench import profile
from bench.errors import ProcedureError
from bench.judge.judge import judge_trace
from bench.procedure import load
from bench.report.page import render_page
from bench.report.repeated import repeated, table_lines
from bench.trace.records import Trace
from tests.boards import air_handler, furnace
from tests.procedure.running import carried_out

BOARDS = [furnace, air_handler]
SEEDS = range(int(os.environ.get("SEEDS", "3")))


def run_of(board, seed, times=3):
    parameters = board()
    procedure = load("timing", parameters, repeat=times)
    trace = carried_out(parameters, procedure, seed)
    trace = Trace(replace(trace.header, procedure=procedure.as_json()), trace.records)
    return parameters, trace, judge_trace(trace, parameters)


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("board", BOARDS)
def test_good_boards_pass_and_each_timing_comes_as_often_as_asked(board, seed):
    _, trace, judgement = run_of(board, seed)
    assert judgement.verdict == "pass", judgement.reason
    rows = repeated(trace, judgement)
    counts = {(r.requirement, r.output, r.to): r.spread.count for r in rows}
    assert counts["hold", None, None] == counts["trip", "Y", "off"] == 3
    assert counts["follow", "Y", "on"] >= 3 and counts["follow", "G", "off"] >= 3
    assert counts["loss", "Y", "off"] == max(3, len(furnace().sensors[0].lost_by))
    assert ("power-up", "Y", "on") in counts


def test_every_way_of_losing_the_sensor_takes_its_turn():
    board = profile.load("invented-zoned-coil").parameters
    ways = len([way for sensor in board.sensors for way in sensor.lost_by])
    for times in (2, ways + 1):
        parts = [step.part for step in load("timing", board, repeat=times).steps if step.part]
        assert len([p for p in parts if p.startswith("Sensor loss")]) == max(times, ways)
        assert len({p for p in parts if p.startswith("Sensor loss")}) == ways


def test_the_figures_are_those_of_the_findings():
    _, trace, judgement = run_of(furnace, 1)
    holds = [f.measured for f in judgement.findings if f.requirement == "hold"]
    row = next(r for r in repeated(trace, judgement) if r.requirement == "hold")
    assert (row.spread.mean, row.spread.deviation) == (statistics.fmean(holds), statistics.stdev(holds))
    assert row.spread.mean_within[0] < row.spread.mean < row.spread.mean_within[1]
    assert row.spread.tolerance[0] < row.spread.mean_within[0]
    assert row.limits == pytest.approx((358.0, 372.25))


def test_moves_on_and_off_are_told_apart():
    _, trace, judgement = run_of(furnace, 2)
    means = {
        r.to: r.spread.mean
        for r in repeated(trace, judgement)
        if (r.requirement, r.output) == ("follow", "Y")
    }
    # A terminal that is fed by its call goes off with it; on takes the board some time.
    assert means["off"] < 0.02 < means["on"]


def test_terminal_and_page_tell_every_timing():
    parameters, trace, judgement = run_of(furnace, 0)
    rows = repeated(trace, judgement)
    page = render_page(trace, judgement, parameters)
    assert "How repeated timings scatter" in page
    for width in (40, 80, 110):
        lines = list(table_lines(rows, width))
        assert max(map(len, lines)) <= width
    text = "\n".join(lines)
    for row in rows:
        for cell in row.cells():
            assert cell in text and cell in page


@pytest.mark.parametrize("width", [32, 60, 80, 110])
def test_no_figure_is_broken_where_the_terminal_is_narrow(width):
    _, trace, judgement = run_of(furnace, 0)
    rows = repeated(trace, judgement)
    words = {word.strip(",:") for line in table_lines(rows, width) for word in line.split()}
    for row in rows:
        assert words >= {word for cell in row.cells()[:-1] for word in cell.split()}


def test_without_statistics_nothing_is_told():
    parameters, trace, judgement = run_of(furnace, 0, 2)
    plain = Trace(replace(trace.header, procedure={"name": "acceptance"}), trace.records)
    assert repeated(plain, judgement) == []
    assert "How repeated timings scatter" not in render_page(plain, judgement, parameters)


def test_only_timing_is_repeated():
    with pytest.raises(ProcedureError, match="goes with the procedure timing"):
        load("acceptance", furnace(), repeat=3)


def test_the_number_of_repeats_is_the_number_of_holds():
    for times in (2, 5):
        steps = load("timing", furnace(), repeat=times).steps
        assert sum(s.part == "Hold and release" for s in steps) == times
