"""The time axis: every moment is on it, once, to scale outside the breaks."""

from __future__ import annotations

import itertools
import random

import pytest

from bench.report.axis import BREAK, QUIET_US, SCALES, ticks, wrapped
from bench.report.lanes import picture_of
from tests.report import runs

S = 1_000_000


@pytest.mark.parametrize("seed", range(20))
def test_every_moment_lies_on_one_line_and_in_order(seed: int) -> None:
    rng = random.Random(seed)
    moments, at = [0], 0
    for _ in range(rng.randint(1, 150)):
        at += rng.choice((0, 1, 125_000, 400_000, 2 * S, 3 * S, 5 * S, 360 * S))
        moments.append(at)
    lines = wrapped(moments, 776)
    for before, after in itertools.pairwise(lines):
        assert before.end_us == after.start_us
    for moment in moments:
        assert sum(line.shows(moment) for line in lines) == 1
    for line in lines:
        assert line.width <= 776 + BREAK or line.scale == SCALES[-1]
        inside = [m for m in sorted(set(moments)) if line.shows(m)]
        places = [line.x(m) for m in inside]
        assert places == sorted(places)
        for piece in line.pieces:
            wide = (piece.end_us - piece.start_us) * line.scale / 1e6
            assert piece.x1 - piece.x0 == pytest.approx(BREAK if piece.cut else wide)
        assert all(line.shows(t) for t in ticks(line))


def test_a_long_hold_is_cut_out_and_its_edges_stay_readable() -> None:
    lines = wrapped([0, 125_000, 360 * S, 360 * S + 125_000], 776)
    (line,) = lines
    assert [p.cut for p in line.pieces] == [False, True, False]
    assert line.x(360 * S + 125_000) - line.x(360 * S) == pytest.approx(0.125 * line.scale)


def test_a_short_quiet_span_is_not_cut() -> None:
    (line,) = wrapped([0, QUIET_US], 776, most_lines=1)
    assert not any(p.cut for p in line.pieces)


def test_no_moments_no_lines() -> None:
    assert wrapped([], 776) == []


def test_windows_and_marks_of_the_findings() -> None:
    picture = picture_of(runs.trace(), runs.judgement(), runs.PARAMETERS)
    assert picture is not None
    hold = [w for w in picture.windows if w.verdict == "fail"]
    assert {w.channel for w in hold} == {"out.Y", "out.G"}  # the outputs that moved then
    assert {(w.start_us, w.end_us) for w in hold} == {(388 * S, 402_250_000)}
    follow = next(w for w in picture.windows if w.verdict == "pass")
    assert (follow.channel, follow.start_us, follow.end_us) == ("out.Y", 12 * S, 12_250_000)
    assert [(m.number, m.channel, m.at_us) for m in picture.marks] == [
        (1, "out.Y", 345 * S),
        (2, "out.G", 24 * S),
    ]


def test_a_missing_move_is_marked_where_its_window_ended() -> None:
    missing = runs.Finding("trip", "W", "fail", 26.0, "", kind="missing", limits=(2.0, 6.0))
    picture = picture_of(runs.trace(), runs.judgement(findings=(missing,)), runs.PARAMETERS)
    assert picture is not None
    (window,) = picture.windows
    assert (window.channel, window.start_us, window.end_us) == ("out.W", 22 * S, 26 * S)


def test_the_clock_of_the_findings_is_the_clock_of_the_drawing() -> None:
    """Ticks of a fast fixture are corrected as the judge corrects them."""
    samples = tuple(runs.Clock(t * S, round(t * S * 0.996), round(t * S * 0.996)) for t in range(0, 400, 20))
    seen = tuple(r for r in runs.records() if not isinstance(r, runs.Clock))
    trace = runs.Trace(runs.header(clock="fitted"), (*seen[:-1], *samples, seen[-1]))
    picture = picture_of(trace, runs.judgement(), runs.PARAMETERS)
    assert picture is not None
    y = next(lane for lane in picture.lanes if lane.channel == "out.Y")
    assert y.levels[-1].at_us == pytest.approx(345 * S * 0.996, abs=1_000)
