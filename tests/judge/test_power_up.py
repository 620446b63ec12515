"""An output that came up on though its restart delay from power-up must hold it off.

That a compressor output waits for an anti-short-cycle time after power-up is common practice, no source.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from bench.judge.book import Book
from bench.judge.events import Change, Event, SupplyMoved
from bench.judge.findings import Finding
from bench.judge.power_up import judge_power_up
from bench.judge.window import Stamp
from firmware_ref.parameters import Interval, Mode, Parameters, Policy, Restart
from tests.boards import furnace

S = 1_000_000
HALF_US = 1_000
OFF = {"Y": False, "W": False, "G": False}


def board(after: tuple[str, ...] = ("power-up",), **modes: Policy) -> Parameters:
    """Y is held off for 30 to 40 s; it must be let go of 1 s (boot) and its reaction after the supply came."""
    parameters = furnace()
    y, *others = parameters.outputs
    changed = {**y.modes, **{Mode[name]: policy for name, policy in modes.items()}}
    y = replace(y, restart=Restart(frozenset(after), Interval(30 * S, 40 * S)), modes=changed)
    return replace(parameters, outputs=(y, *others))


def judged(*events: Event, of: Parameters | None = None) -> list[Finding]:
    parameters = of or board()
    book = Book(parameters, 0, "guarded")
    judge_power_up(events, OFF, book, 0)
    return book.findings


def supply(on: bool, at_us: int) -> SupplyMoved:
    return SupplyMoved(on, Stamp(at_us, HALF_US))


def y(on: bool, at_us: int) -> Change:
    return Change("Y", on, Stamp(at_us, HALF_US))


def test_on_from_the_supply_to_the_end() -> None:
    (finding,) = judged(y(True, 2 * S), supply(True, 2 * S))
    assert (finding.requirement, finding.output, finding.verdict) == ("restart", "Y", "fail")
    assert "its restart delay holds it off for 30.00 s" in finding.text


@pytest.mark.parametrize(
    "moves",
    [
        (),
        (y(True, 2 * S), y(False, 3 * S)),  # let go of in time
        (y(True, 5 * S),),  # goes on too early: a move, which the tracker judges
        (y(True, 2 * S), supply(False, 3 * S)),
    ],
)
def test_what_moves_or_has_no_supply_is_not_judged_here(moves: tuple[Event, ...]) -> None:
    assert judged(supply(True, 2 * S), *moves) == []


@pytest.mark.parametrize(
    "of",
    [
        furnace(),
        board(("release",)),
        board(UNPOWERED=Policy.FOLLOW),  # on as the delay begins
        board(LEAK_ACTIVE=Policy.ON),  # mitigation overrides it
        board(SENSOR_FAULT=Policy.FOLLOW),
    ],
)
def test_where_it_may_be_on(of: Parameters) -> None:
    assert judged(y(True, 2 * S), supply(True, 2 * S), of=of) == []


def test_after_a_dip_that_may_be_ridden_through_no_delay_need_run() -> None:
    ride = board().timing.ride_through
    assert ride is not None
    up = (supply(True, 2 * S), y(True, 50 * S), supply(False, 60 * S))
    assert judged(*up, supply(True, 60 * S + ride.max_us)) == []
    (finding,) = judged(*up, supply(True, 60 * S + 2 * ride.max_us))
    assert finding.at_s > 60


def test_an_output_that_has_failed_already_is_not_named_twice() -> None:
    book = Book(board(), 0, "guarded")
    first = Finding("power-up", "Y", "fail", 1.0, "", kind="not-allowed")
    book.findings.append(first)
    judge_power_up([y(True, 2 * S), supply(True, 2 * S)], OFF, book, 0)
    assert book.findings == [first] and first.also == ("restart",)
