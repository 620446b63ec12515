"""Voltage out of the board at a call's terminal: how long it may be there, when it is shown to stay away.

That no voltage belongs at a thermostat terminal whose call is off is common practice, no source.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from bench.judge.backfeed import GOES_WITHIN_US, judge_backfeed
from bench.judge.book import Book
from bench.judge.clock import EXACT
from bench.judge.feed import Feed
from bench.judge.findings import Finding
from bench.judge.judge import judge_trace
from bench.profile import load
from bench.trace.file import read_trace
from bench.trace.records import Edge, Readback, Record
from firmware_ref.parameters import Parameters
from tests.boards import furnace
from tests.end_to_end.command import run_board, sim
from tests.trace.test_calibration import record

S = 1_000_000
HALF_US = 4_000
BOARD = replace(furnace(), rules=replace(furnace().rules, backfeed=False))
#: Each call's relay is open and its voltage read as off, and G comes on: nothing comes out for two seconds.
QUIET = (*((f"call.{c}", "voltage", "off", S) for c in "YWG"), ("out.G", "", "on", 2 * S))

Move = tuple[str, str, str, int]


def records(*moves: Move) -> list[Record]:
    """(channel, position, voltage or "" for an edge, value, when in us)."""
    made: list[Record] = []
    for seq, (ch, what, value, at_us) in enumerate(sorted(moves, key=lambda m: m[3])):
        first, last = at_us - HALF_US, at_us + HALF_US
        made.append(
            Readback(seq, seq, ch, value, first, last, what) if what else Edge(seq, ch, value, first, last)
        )
    return made


def judged(*moves: Move, board: Parameters = BOARD, end_us: int = 10 * S) -> list[Finding]:
    book = Book(board, 0, "guarded")
    judge_backfeed(records(*moves), Feed(board, EXACT, book), book, end_us)
    assert (("backfeed", None, None) in book.proven) is any(f.verdict == "pass" for f in book.findings)
    return book.findings


def test_it_is_judged_only_where_the_profile_says_so() -> None:
    out = (*QUIET, ("call.Y", "voltage", "on", 5 * S))
    for stated in (None, True):
        board = replace(BOARD, rules=replace(BOARD.rules, backfeed=stated))
        assert judged(*out, board=board) == []
    assert [f.verdict for f in judged(*out)] == ["fail"]


def test_nothing_came_out() -> None:
    (finding,) = judged(*QUIET)
    assert (finding.requirement, finding.output, finding.verdict) == ("backfeed", None, "pass")


@pytest.mark.parametrize(
    "moves",
    [
        QUIET[1:],  # the voltage of one call was never read
        QUIET[:3],  # no output was on
        (*QUIET, ("out.G", "", "off", 2 * S + 150_000)),  # none was for long enough
        (*QUIET, ("call.W", "position", "on", 2 * S), ("call.W", "voltage", "on", 2 * S)),
    ],
)
def test_what_was_not_looked_at_is_not_shown(moves: tuple[Move, ...]) -> None:
    assert judged(*moves) == []


@pytest.mark.parametrize(
    ("stays_us", "verdict"),
    [
        (0, "pass"),
        (30_000, "pass"),
        # Within the bound of the limit a good board may read so: never a fail.
        (GOES_WITHIN_US + HALF_US, "inconclusive"),
        (GOES_WITHIN_US + 2 * HALF_US, "inconclusive"),
        (GOES_WITHIN_US + 2 * HALF_US + 2, "fail"),
        (3 * S, "fail"),
    ],
)
def test_how_long_voltage_stays_when_the_relay_opens(stays_us: int, verdict: str) -> None:
    called = [("call.Y", "position", "on", 4 * S), ("call.Y", "voltage", "on", 4 * S + 5_000)]
    gone = [("call.Y", "position", "off", 6 * S), ("call.Y", "voltage", "off", 6 * S + stays_us)]
    (finding,) = judged(*QUIET, *called, *gone)
    assert finding.verdict == verdict
    if verdict != "pass":
        assert finding.measured == pytest.approx(stays_us / 1e6)
        assert finding.limits == (None, GOES_WITHIN_US / 1e6)
    assert finding.kind == ("not-allowed" if verdict == "fail" else None)


def test_it_ends_with_the_call_itself_and_is_one_finding_a_call() -> None:
    out = [("call.Y", "voltage", v, at) for v, at in (("on", 4 * S), ("off", 5 * S), ("on", 6 * S))]
    (finding,) = judged(*QUIET, *out, ("call.Y", "position", "on", 7 * S))
    assert (finding.measured, finding.count) == (1.0, 2)
    assert "terminal of call Y for 1.00 s, from 4.0 s on" in finding.text


def test_the_run_of_a_board_that_feeds_back_before_any_call_was_made(tmp_path: Path) -> None:
    """The blower is forced on from power-up; no relay of a call has moved by then."""
    answer = run_board("invented-air-handler", sim("feeds-back:G"), tmp_path)
    assert answer.code == 1
    assert answer.first() == ("backfeed", None, "not-allowed")
    assert [f["requirement"] for f in answer.failed] == ["backfeed"]
    assert "run `mitbench fixture check`" in str(answer.failed[0]["text"])
    (path,) = tmp_path.rglob("*.jsonl")
    trace = read_trace(path)
    early = next(r for r in trace.records if isinstance(r, Readback) and r.what == "voltage")
    assert (early.ch, early.value, early.of) == ("call.G", "on", early.seq)
    looked_at = replace(trace, header=replace(trace.header, calibration=record().as_json()))
    again = judge_trace(looked_at, load("invented-air-handler").parameters)
    assert [f.text.partition(";")[0] for f in again.findings if f.verdict == "fail"] == [
        str(answer.failed[0]["text"]).partition(";")[0]
    ]
    assert not any("fixture check" in f.text for f in again.findings)


def test_a_good_board_passes_it(tmp_path: Path) -> None:
    answer = run_board("invented-air-handler", sim(), tmp_path)
    assert answer.code == 0
    assert "backfeed" not in answer.plain["not_exercised"]
