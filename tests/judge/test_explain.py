"""What was possible at a moment, and two judgements side by side."""

from __future__ import annotations

import dataclasses

import pytest

from bench.errors import UsageError
from bench.judge.compare import compare, lines
from bench.judge.explain import explain
from bench.judge.judge import judge_trace
from firmware_ref.parameters import Interval
from tests.boards import S, furnace
from tests.judge.full_run import END_S, good_run, shift_edges


def test_on_an_open_window_both_possibilities_are_told():
    text = "\n".join(explain(good_run().trace(END_S), furnace(), 23.5))
    assert "normal, since" in text
    assert "leak-active, since between 22.000 and 23.500 s" in text
    assert "waits for the trip: between 22.000 and 26.000 s" in text
    assert "Y is on and must go off between 22.000 and 26.000 s (trip)" in text


def test_why_an_edge_was_allowed_or_not():
    text = "\n".join(explain(good_run().trace(END_S), furnace(), 599.5))
    assert "in post-leak-hold: not allowed (blocked)" in text
    assert "in normal: allowed as hold, between 593.000 and 607.250 s" in text
    early = "\n".join(explain(shift_edges(good_run(), 599, 601, -20).trace(END_S), furnace(), 579.5))
    assert "in post-leak-hold: not allowed (blocked)" in early
    assert "allowed as hold" not in early


@pytest.mark.parametrize("at_s", [-1, END_S + 1])
def test_a_moment_outside_the_run_is_refused(at_s):
    with pytest.raises(UsageError, match=r"lasted 680\.000 s"):
        explain(good_run().trace(END_S), furnace(), at_s)


def test_two_profiles_side_by_side():
    trace = shift_edges(good_run(), 599, 601, -20).trace(END_S)
    lenient = dataclasses.replace(furnace().timing, hold=Interval(330 * S, 365 * S))
    one = judge_trace(trace, furnace())
    other = judge_trace(trace, dataclasses.replace(furnace(), timing=lenient))
    rows = compare(one, other)
    assert [r.requirement for r in rows if r.differs] == ["hold"]
    (hold,) = [r for r in rows if r.requirement == "hold"]
    assert hold.verdicts == ("fail", "pass")
    assert hold.margins == (pytest.approx(-13.0), pytest.approx(12.0))
    table = list(lines(rows, "as stated", "lenient"))
    assert len(table) == len(rows) + 1
    assert sum("differs" in line for line in table) == 1


def test_a_judgement_against_itself_differs_nowhere():
    judgement = judge_trace(good_run().trace(END_S), furnace())
    assert not any(r.differs for r in compare(judgement, judgement))
