"""Where the simulated board's timings fall, and that a seed decides them."""

import random
from dataclasses import replace

import pytest

from bench.errors import UsageError
from bench.judge.bounds import expected_bound_us
from bench.simulated.board import Board
from bench.simulated.draw import Draw, whole
from firmware_ref.parameters import Band, Interval
from tests.boards import MS, furnace
from tests.simulated.rig import Rig, S
from tests.simulated.test_board_leak import holding


def story(parameters, seed, draw, chop_us=None):
    """Everything a run shows, advanced at once or in small pieces."""
    board = Board(parameters, seed=seed, draw=draw)
    seen = []

    def to(t):
        if chop_us:
            while board_time[0] + chop_us < t:
                board_time[0] += chop_us
                seen.extend(board.advance(board_time[0]))
        seen.extend(board.advance(t))
        board_time[0] = t

    board_time = [0]
    board.sensor("1", 500_000, 0)
    board.supply(True, 1 * S)
    to(20 * S)
    for i, call in enumerate("YWG"):
        board.call(call, True, (20 + i) * S)
    to(30 * S)
    board.sensor("1", 2_000_000, 30 * S)
    to(40 * S)
    board.sensor("1", 500_000, 40 * S)
    to(500 * S)
    board.sensor("1", "open", 500 * S)
    to(520 * S)
    return seen


@pytest.mark.parametrize(("low", "high"), [(0, 0), (-5, 5), (1, 2), (3, 130), (100, 1 << 40)])
def test_a_whole_number_is_the_one_that_python_would_have_drawn(low, high):
    ours, pythons = random.Random(7), random.Random(7)
    assert [whole(ours, low, high) for _ in range(50)] == [pythons.randint(low, high) for _ in range(50)]


def test_there_is_no_whole_number_between_limits_that_are_crossed():
    with pytest.raises(ValueError, match=r"no number lies in 2\.\.1"):
        whole(random.Random(7), 2, 1)


@pytest.mark.parametrize("draw", ["inside", "anywhere", "nominal"])
def test_the_same_seed_gives_the_same_run_and_another_seed_another(draw):
    assert story(furnace(), 3, draw) == story(furnace(), 3, draw)
    assert story(furnace(), 3, draw) != story(furnace(), 4, draw)


@pytest.mark.parametrize("seed", range(4))
def test_how_often_the_host_looks_changes_nothing(seed):
    assert story(furnace(), seed, "inside") == story(furnace(), seed, "inside", chop_us=33_337)


def test_next_change_is_never_later_than_the_next_terminal_change():
    board = Board(furnace(), seed=1)
    board.sensor("1", 500_000, 0)
    board.supply(True, 1 * S)
    board.call("Y", True, 2 * S)
    looked = 0
    while (at := board.next_change_us()) is not None and at < 60 * S:
        assert board.advance(at - 1) == []
        board.advance(at)
        looked += 1
    assert board.terminals()["Y"]
    assert looked < 40, "scans are simulated only where something can change"


@pytest.mark.parametrize("seed", range(40))
def test_inside_keeps_two_bounds_off_every_limit_that_is_judged(seed):
    rig = Rig(furnace(), seed=seed)
    rig.gas("normal").wait(1).power(True).on("Y", "W")
    on = rig.t
    rig.wait(14)
    follow = rig.off("Y").wait(1).on("Y").t
    leak = rig.wait(1).gas("leak").t
    low = rig.wait(8).gas("normal").t
    rig.wait(380)
    lost = rig.gas("open").t
    good = rig.wait(11).gas("normal").t
    rig.wait(10)
    react = 250 * MS
    for since, least, most in (
        (on, 8 * S, 12 * S + react),
        (leak, 2 * S, 6 * S),
        (low, (3 + 355) * S, (7 + 365) * S + react),
        (lost, 3 * S, 9 * S),
        (good, 3 * S, 7 * S + react),
        (follow, 0, react),
    ):
        margin = 2 * expected_bound_us(most)
        for name in "YW" if since != follow else "Y":
            at = rig.edges(name, since)[0][0] - since
            assert (least + margin if least else 1) <= at <= most - margin


def test_every_occurrence_is_drawn_anew():
    rig = Rig(furnace()).up("Y")
    times = set()
    for _ in range(5):
        leak = rig.gas("leak").t
        times.add(rig.wait(8).first("Y", leak)[0])
        rig.gas("normal").wait(400)
    assert len(times) == 5
    assert max(times) - min(times) > 0.5


def test_draws_reach_over_the_whole_interval():
    after = []
    for seed in range(150):
        rig = Rig(furnace(), seed=seed).up("Y")
        leak = rig.gas("leak").t
        after.append(rig.wait(8).first("Y", leak)[0])
    assert min(after) < 2.6
    assert max(after) > 5.7


@pytest.mark.parametrize("seed", range(100))
def test_anywhere_never_leaves_an_interval(seed):
    rig = holding(furnace(), seed, draw="anywhere")
    leak = rig.low - 10 * S
    assert 2 * S <= rig.edges("Y", leak)[0][0] - leak <= 6 * S
    rig.wait(400)
    assert 358 * S <= rig.edges("Y", rig.low)[0][0] - rig.low <= 372.25 * S


def test_nominal_is_the_middle():
    rig = holding(furnace(), draw="nominal").wait(400)
    # clear 5 s, hold 360 s, reaction 125 ms
    assert rig.first("Y", rig.low)[0] == 365.125


def test_an_interval_too_narrow_to_prove_gives_its_middle():
    draw = Draw("inside", 0, "test")
    bound = expected_bound_us(5 * S)
    narrow = Interval(5 * S - 2 * bound + 1, 5 * S + 2 * bound - 1)
    assert {draw.span(narrow, 5 * S) for _ in range(20)} == {5 * S}
    wide = Interval(5 * S - 3 * bound, 5 * S + 3 * bound)
    drawn = {draw.span(wide, 5 * S) for _ in range(200)}
    assert 5 * S - bound <= min(drawn) < max(drawn) <= 5 * S + bound
    assert draw.level(Band(1_000_000, 1_019_000)) == 1_009_500


def test_a_lower_end_of_zero_is_no_limit():
    draw = Draw("inside", 0, "test")
    bound = expected_bound_us(250 * MS)
    drawn = [draw.span(Interval(0, 250 * MS), 250 * MS) for _ in range(2000)]
    assert min(drawn) < bound
    assert 250 * MS - 3 * bound < max(drawn) <= 250 * MS - 2 * bound


def test_a_draw_that_does_not_exist_is_refused():
    with pytest.raises(
        UsageError, match="draw 'outside' does not exist: write one of inside, anywhere, nominal"
    ):
        Board(furnace(), draw="outside")


def test_a_narrow_trip_still_lies_inside_its_limits():
    parameters = furnace()
    trip = Interval(2000 * MS, 2060 * MS)
    outputs = tuple(replace(o, trip=trip) for o in parameters.outputs)
    parameters = replace(parameters, outputs=outputs, timing=replace(parameters.timing, trip=trip))
    for seed in range(20):
        rig = Rig(parameters, seed=seed, draw="anywhere").up("Y")
        leak = rig.gas("leak").t
        assert 2.0 <= rig.wait(5).first("Y", leak)[0] <= 2.06
