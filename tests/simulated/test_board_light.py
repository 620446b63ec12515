"""The simulated board's light: what it shows in each mode, when, and what its faults make of it."""

from __future__ import annotations

import itertools
from dataclasses import replace

import pytest

from bench.simulated.board import Board
from bench.simulated.faults import catalogue, parse
from firmware_ref.parameters import Button, Gesture, Interval, Mode, Parameters
from tests.boards import MS, S, air_handler, furnace

#: From the supply, us: a leak, its end, a sensor loss, its end.  The hold of the air handler takes eight minutes.
LEAK, CLEAR, END = 60 * S, 100 * S, 700 * S


def edges(parameters: Parameters, seed: int, *faults: str) -> list[tuple[int, bool]]:
    """Those of the light through a leak and a whole hold."""
    board = Board(parameters, seed=seed, faults=[parse(f, parameters) for f in faults])
    board.sensor("1", "normal", 0)
    board.supply(True, 0)
    seen = board.advance(LEAK)
    board.sensor("1", "leak", LEAK)
    seen += board.advance(CLEAR)
    board.sensor("1", "normal", CLEAR)
    return [(c.at_us, c.on) for c in [*seen, *board.advance(END)] if c.name == "light"]


def groups(found: list[tuple[int, bool]], first_us: int, last_us: int) -> set[int]:
    """How many flashes the groups have that lie wholly between; a pause is longer than 0.8 s."""
    lit = [t for t, on in found if on and first_us < t < last_us]
    counts, count = [], 1
    for before, after in itertools.pairwise(lit):
        if after - before > 1_000 * MS:
            counts.append(count)
            count = 0
        count += 1
    return set(counts[1:])


@pytest.mark.parametrize("seed", range(6))
def test_it_shows_the_code_of_each_mode_within_its_latency(seed: int) -> None:
    found = edges(air_handler(), seed)
    assert (
        found[0][1] and 17 * S <= found[0][0] <= 23 * S + 5 * S + 50 * MS
    )  # steady in normal, until the leak
    assert found[1][0] >= LEAK + 1 * S
    assert groups(found, LEAK + 10 * S, CLEAR) == {5}
    assert groups(found, CLEAR + 16 * S, CLEAR + 480 * S) == {2}
    assert found[-1][1] and found[-1][0] < END - 50 * S


@pytest.mark.parametrize("seed", range(6))
def test_flashes_gaps_and_pauses_keep_to_the_profile(seed: int) -> None:
    found = [e for e in edges(air_handler(), seed) if CLEAR + 20 * S < e[0] < CLEAR + 400 * S]
    for (begin, on), (end, _) in itertools.pairwise(found):
        length = end - begin
        if on:
            assert 200 * MS <= length <= 300 * MS
        else:
            assert 200 * MS <= length <= 300 * MS or 1_000 * MS <= length <= 1_400 * MS


def test_without_supply_it_is_dark() -> None:
    board = Board(air_handler(), seed=1)
    board.sensor("1", "normal", 0)
    board.supply(True, 0)
    assert board.advance(50 * S)[-1].name == "light"
    board.supply(False, 50 * S)
    assert [(c.name, c.on) for c in board.advance(50 * S)] == [("light", False)]


def test_faults() -> None:
    parameters = air_handler()
    assert edges(parameters, 0, "light-dark") == []
    assert edges(parameters, 0, "light-stuck") == [(0, True)]
    assert groups(edges(parameters, 0, "light-miscounts"), CLEAR + 16 * S, CLEAR + 400 * S) == {3}
    assert groups(edges(parameters, 0, "light-code:post-leak-hold"), CLEAR + 16 * S, CLEAR + 400 * S) == set()
    late = edges(parameters, 0, "light-late=30 s")
    assert groups(late, CLEAR + 16 * S, CLEAR + 30 * S) == {5}


def test_a_board_without_a_light_has_none_of_its_faults() -> None:
    names = {e.name.partition(":")[0] for e in catalogue(furnace())}
    assert not any(name.startswith("light") for name in names)
    lit = {e.name for e in catalogue(air_handler()) if e.name.startswith("light")}
    assert lit == {
        "light-dark", "light-stuck", "light-miscounts", "light-late",
        "light-code:normal", "light-code:leak-active", "light-code:post-leak-hold",
        "light-code:sensor-fault",
    }  # fmt: skip
    plain = replace(air_handler().sensors[0], lost_by=())
    never_lost = {e.name for e in catalogue(replace(air_handler(), sensors=(plain,)))}
    assert "light-code:normal" in never_lost and "light-code:sensor-fault" not in never_lost


def test_what_is_not_stated_gets_a_light_of_our_own() -> None:
    light = air_handler().light
    assert light is not None
    codes = {**light.codes, Mode.LEAK_ACTIVE: None}
    free = replace(light, codes=codes, on=None, off=None, pause=None, latency=None)
    found = edges(replace(air_handler(), light=free), 2)
    assert groups(found, CLEAR + 20 * S, CLEAR + 400 * S) == {2}
    wide = replace(free, off=Interval(500 * MS, 700 * MS))
    gaps = [b[0] - a[0] for a, b in itertools.pairwise(found) if not a[1]]
    assert max(gaps) > 3 * min(gaps)
    assert edges(replace(air_handler(), light=wide), 2)


def test_a_recall_shows_the_last_fault_once() -> None:
    press = Interval(30 * MS, 60 * MS)
    within = Interval(2_800 * MS, 3_200 * MS)
    button = Button(press, Interval(0, 500 * MS), {"recall": Gesture(presses=2, within=within)})
    parameters = replace(air_handler(), button=button)
    for seed in range(6):
        board = Board(parameters, seed=seed)
        board.sensor("1", "normal", 0)
        board.supply(True, 0)
        board.sensor("1", "leak", LEAK)
        board.sensor("1", "normal", CLEAR)
        board.advance(END)
        for at in (0, 200, 600, 800):
            board.button(at % 600 == 0, END + at * MS)
        seen = [c.on for c in board.advance(END + 30 * S) if c.name == "light"]
        assert seen == [False, *([True, False] * 5), True], seed
