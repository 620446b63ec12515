"""`short`: proves what acceptance proves of `must_prove`, in less time, and nothing in it can be left out."""

from __future__ import annotations

import os
from dataclasses import replace

import pytest

from bench.judge.judge import judge_trace
from bench.procedure import load
from bench.procedure.short import Trial, least_share, needed, of_phases
from bench.procedure.timers import span
from bench.run.dry_run import synthetic
from firmware_ref.parameters import Interval
from tests.boards import air_handler, furnace
from tests.procedure.trial import attempt_on, boards
from tests.run.fakes import profile_of

BY_CHANCE = int(os.environ.get("SEEDS", "30"))


@pytest.mark.slow
@pytest.mark.parametrize("part", range(4))
def test_short_passes_wherever_acceptance_does_and_nothing_in_it_can_be_left_out(part):
    saved = []
    for parameters in boards(part, 4, BY_CHANCE):
        attempt = attempt_on(parameters)
        acceptance = attempt(load("acceptance", parameters))
        kept = needed(parameters, attempt)
        short = attempt(of_phases(parameters, kept))
        assert short.unproven <= acceptance.unproven, parameters.name
        assert short.board_us < acceptance.board_us, parameters.name
        for name in kept:
            less = attempt(of_phases(parameters, [k for k in kept if k != name]))
            assert less.unproven - short.unproven, f"{parameters.name}: {name} can be left out"
        saved.append(1 - short.board_us / acceptance.board_us)
    print(
        f"short saves {min(saved):.0%} to {max(saved):.0%} of acceptance's board time, {sum(saved) / len(saved):.0%} on average"
    )


@pytest.mark.parametrize(("board", "minutes", "acceptance"), [(furnace, 7.2, 10.8), (air_handler, 9.7, 24)])
def test_what_it_saves_on_the_shipped_boards(board, minutes, acceptance):
    attempt = attempt_on(board())
    assert attempt(load("short", board(), attempt)).board_us < minutes * 60e6
    assert attempt(load("acceptance", board())).board_us > acceptance * 60e6


@pytest.mark.parametrize("board", [furnace, air_handler])
def test_a_nominal_board_passes(board):
    parameters = board()
    trace, _ = synthetic(load("short", parameters, attempt_on(parameters)), profile_of(parameters))
    assert judge_trace(trace, parameters).verdict == "pass"


def test_what_is_not_demanded_is_left_out():
    parameters = replace(furnace(), must_prove=("follow:Y", "trip:Y"))
    assert needed(parameters, attempt_on(parameters)) == ("power-up", "call Y alone", "leak")


def test_what_cannot_be_proven_keeps_nothing_in():
    parameters = furnace()
    kept = needed(parameters, lambda _: Trial(1, frozenset(parameters.must_prove)))
    assert kept == ()


def test_the_second_leak_comes_as_soon_as_a_hold_begun_afresh_can_be_told():
    parameters = furnace()
    hold, share = span(parameters, "hold"), least_share(parameters)
    assert hold is not None and 0 < share < 0.5
    assert hold.width_us < share * hold.min_us < 1.5 * hold.width_us
    wide = replace(parameters.timing, hold=Interval(100_000_000, 200_000_000))
    assert least_share(replace(parameters, timing=wide)) == 0.5


def test_a_latched_fault_is_not_left_behind():
    parameters = air_handler()
    texts = [
        s.part for s in load("short", parameters, attempt_on(parameters)).steps if s.part.startswith("Reset")
    ]
    assert texts == ["Reset by leaving the supply off"]
