"""The light of the dry run: every code in the middle of its times, so that what a procedure shows of it is known."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

from bench.cli.trying import tried
from bench.procedure.acceptance import acceptance
from bench.run.lamp import Lamp
from firmware_ref.parameters import Interval, Mode
from tests.boards import MS, air_handler
from tests.profile.altered import profile


def moves(lamp: Lamp, mode: Mode, now_us: int, count: int) -> list[tuple[int, bool]]:
    lamp.show(mode, now_us)
    found = []
    while len(found) < count and (at_us := lamp.next_us) is not None:
        if lamp.move(at_us):
            found.append((at_us, lamp.lit))
    return found


def test_a_code_in_the_middle_of_its_times() -> None:
    light = air_handler().light
    assert light is not None
    lamp = Lamp(light)
    assert moves(lamp, Mode.NORMAL, 0, 9) == [(2_500 * MS, True)]
    seen = moves(lamp, Mode.POST_LEAK_HOLD, 10_000 * MS, 9)
    assert [lit for _, lit in seen] == [False, True, False, True, False, True, False, True, False]
    assert [(b - a) // MS for (a, _), (b, _) in pairwise(seen)] == [
        1_200,
        250,
        250,
        250,
        1_200,
        250,
        250,
        250,
    ]


def test_without_supply_it_is_dark_at_once() -> None:
    light = air_handler().light
    assert light is not None
    lamp = Lamp(light)
    moves(lamp, Mode.NORMAL, 0, 1)
    assert moves(lamp, Mode.UNPOWERED, 9_000 * MS, 2) == [(9_000 * MS, False)]


def test_what_is_not_stated_is_well_apart() -> None:
    light = air_handler().light
    assert light is not None
    lamp = Lamp(replace(light, off=Interval(500 * MS, 700 * MS), pause=None, on=None, latency=None))
    gaps = [(b - a) // MS for (a, lit), (b, _) in pairwise(moves(lamp, Mode.POST_LEAK_HOLD, 0, 8)) if not lit]
    assert set(gaps) == {600, 2_400}


def test_the_acceptance_proves_a_light_that_must_be_proven() -> None:
    lit = profile("invented-air-handler", {"must_prove": ["light", "hold"]})
    assert tried(acceptance(lit.parameters), lit).unproven == frozenset()
