"""`full`: good boards pass it, what only it shows is found by it, and it says what it leaves out."""

from __future__ import annotations

import os
from dataclasses import replace

import pytest

from bench.procedure import load
from bench.procedure.steps import Apply, Wait
from bench.simulated.faults import catalogue, parse
from firmware_ref.parameters import Interval, Rules
from tests.boards import MS, S, air_handler, buttoned_air_handler, buttoned_furnace, furnace
from tests.procedure.level_boards import level_run
from tests.procedure.running import judged
from tests.procedure.test_acceptance import combinations_in, trace_of
from tests.procedure.trial import attempt_on, by_chance

BOARDS = [furnace, air_handler, buttoned_air_handler, buttoned_furnace]
SEEDS = range(int(os.environ.get("SEEDS", "3")))


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("board", BOARDS)
def test_good_boards_pass(board, seed):
    parameters = board()
    judgement = judged(parameters, load("full", parameters), seed)
    assert judgement.verdict == "pass", judgement.reason
    # Without a procedure in its trace no stairs are known; a stand does not read the voltage of calls back.
    assert judgement.not_exercised == (
        *(("level",) if any(s.trip for s in parameters.sensors) else ()),
        *(("backfeed",) if parameters.rules.backfeed is False else ()),
    )


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("board", [furnace, buttoned_furnace])
def test_the_levels_are_found_on_the_way(board, seed):
    judgement = level_run(board(), seed, name="full")
    assert [level.what for level in judgement.levels] == ["trip", "clear", "hysteresis"]
    # A board that switches near the end of its tolerance is too near to tell.
    not_passed = {(f.requirement, f.verdict) for f in judgement.findings if f.verdict != "pass"}
    assert not_passed <= {("level", "inconclusive")}
    assert "level" not in judgement.not_exercised


def test_a_board_that_trips_too_low_is_found_by_its_level():
    failed = [
        f for f in level_run(furnace(), 1, fault="trip-low", name="full").findings if f.verdict == "fail"
    ]
    assert failed[0].requirement == "level"


@pytest.mark.parametrize("seed", range(4 * len(SEEDS)))
def test_good_boards_by_chance_do_not_fail(seed):
    parameters = by_chance(seed)
    judgement = judged(parameters, load("full", parameters), seed)
    assert not [f for f in judgement.findings if f.verdict == "fail"]
    # What acceptance proves on paper is proven here.
    if not attempt_on(parameters)(load("acceptance", parameters)).unproven:
        assert judgement.verdict == "pass", judgement.reason


def rows():
    return [
        pytest.param(board, entry, id=f"{board.__name__}-{entry.name}")
        for board in BOARDS
        for entry in catalogue(board(), "full")
        if entry.kind == "board"
    ]


@pytest.mark.parametrize(("board", "entry"), rows())
def test_what_acceptance_passes_is_found_under_its_name(board, entry):
    parameters = board()
    for seed in SEEDS:
        assert judged(parameters, load("acceptance", parameters), seed, entry.name).verdict == "pass"
        judgement = judged(parameters, load("full", parameters), seed, entry.name)
        assert judgement.verdict == "fail"
        failed = [f for f in judgement.findings if f.verdict == "fail"]
        requirement, _, kind = entry.expected
        assert (requirement, kind) in {(f.requirement, f.kind) for f in failed}, failed[0]


def test_each_of_these_faults_exists_on_a_shipped_board():
    names = {e.name for b in BOARDS for e in catalogue(b(), "full") if e.kind == "board"}
    assert names == {
        "trip-accumulates", "loss-accumulates", "clears-between", "forgets-mitigation", "forgets-fault",
        "button-dead", "press-too-few", "press-too-short", "self-test-endless", "self-test-blind",
        "recall-nothing", "recall-other", "recall-again", "clear-ignored",
    }  # fmt: skip
    assert not any(e.kind == "board" and e.procedure == "full" for b in BOARDS for e in catalogue(b()))


def test_a_fault_that_the_board_cannot_have_is_refused():
    from bench.errors import UsageError

    with pytest.raises(UsageError, match="do not latch"):
        parse("forgets-fault", furnace())
    with pytest.raises(UsageError, match="no analog sensor"):
        parse("clears-between", air_handler())


@pytest.mark.parametrize("board", BOARDS)
@pytest.mark.parametrize("part", ["Leak", "Hold", "Combinations of calls in the start-up"])
def test_every_combination_of_calls_stands_in_every_mode(board, part):
    parameters = board()
    assert len(combinations_in(trace_of(parameters, "full"), parameters.calls, part)) == 8


def test_every_sensor_trips_and_is_lost_in_every_way():
    board = furnace()
    two = replace(board, sensors=(board.sensors[0], replace(board.sensors[0], name="2")))
    settings = [s.doing.settings for s in load("full", two).steps if isinstance(s.doing, Apply)]
    for sensor in ("sensor.1", "sensor.2"):
        assert ((sensor, "between"),) in settings
        for way in ("open", "short"):
            assert settings.count(((sensor, way),)) >= 4  # too shortly, in the leak, in the hold, alone
        assert settings.count(((sensor, "leak"),)) >= 2


def test_tries_that_break_off_together_last_longer_than_they_may_ever_take():
    steps = load("full", furnace()).steps
    first = next(n for n, s in enumerate(steps) if s.part.startswith("Leaks too short"))
    after = next(n for n, s in enumerate(steps) if n > first and s.part)
    waits = [s.doing.us for s in steps[first:after] if isinstance(s.doing, Wait)]
    tries, rests = waits[::2], waits[1::2]
    assert set(rests) == {300 * MS}
    trip = furnace().timing.trip
    assert max(tries) < trip.min_us
    assert sum(tries) > trip.max_us


def left_out(parameters):
    return " / ".join(load("full", parameters).left_out)


def test_what_it_cannot_exercise_is_said_with_its_reason():
    board = furnace()
    assert "fixture's switch cannot be closed again so soon" in left_out(board)
    assert "no sensor is analog" in left_out(air_handler())
    quick = replace(board, outputs=tuple(replace(o, trip=None) for o in board.outputs))
    quick = replace(quick, timing=replace(board.timing, trip=Interval(100 * MS, 2 * S)))
    assert "a trip broken off before it counts: trip may be as short as 100 ms" in left_out(quick)
    unruled = left_out(replace(board, rules=Rules()))
    for rule in ("hold_on_band", "hold_when_lost", "after_supply_loss"):
        assert f"{rule} is not stated" in unruled
    forever = replace(board, rules=replace(board.rules, latching=True, reset_supply_off_us=None))
    assert "nothing is stated that resets it" in left_out(forever)
    short_reset = replace(air_handler().rules, reset_supply_off_us=2 * S)
    assert "shorter is taken for a dip" in left_out(replace(air_handler(), rules=short_reset))
    contact = replace(air_handler().sensors[0], kind="contact", lost_by=frozenset())
    assert "a plain contact cannot be lost" in left_out(
        replace(air_handler(), sensors=(contact,), rules=Rules())
    )
    quick_start = replace(board.timing, warm_up=Interval(2 * S, 3 * S))
    assert "the warm-up is too short for it" in left_out(replace(board, timing=quick_start))


def test_nothing_stated_still_makes_a_procedure():
    from tests.procedure.test_acceptance import unstated

    assert trace_of(unstated(), "full").records
