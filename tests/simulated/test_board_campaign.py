"""What the campaigns found wrong in the simulated board, each as a short sequence."""

from __future__ import annotations

import dataclasses

import pytest

from bench.simulated.board import Board
from firmware_ref.parameters import Interval, Mode, Policy, Sensor
from tests.boards import furnace

S = 1_000_000
CLEAR, BETWEEN, LEAK = 800_000, 1_060_000, 1_320_000


def board(seed: int = 0, **rules: object) -> Board:
    parameters = furnace()
    parameters = dataclasses.replace(parameters, rules=dataclasses.replace(parameters.rules, **rules))
    return Board(parameters, seed=seed, draw="nominal")


def into_hold(b: Board) -> None:
    """Leak at 20 s, clear at 40 s: the hold begins near 45 s and lasts 6 min."""
    b.sensor("1", CLEAR, 0)
    b.supply(True, 1 * S)
    b.sensor("1", LEAK, 20 * S)
    b.sensor("1", CLEAR, 40 * S)
    b.advance(60 * S)
    assert b.mode is Mode.POST_LEAK_HOLD


def test_a_hold_that_stands_still_at_a_cut_keeps_what_was_left_and_stays_stopped():
    b = board(hold_on_band="pause", after_supply_loss="resume")
    into_hold(b)
    b.sensor("1", BETWEEN, 65 * S)  # about 340 s are left
    b.supply(False, 165 * S)
    b.supply(True, 175 * S)
    b.advance(300 * S)
    b.sensor("1", CLEAR, 600 * S)
    b.advance(600 * S + 330 * S)
    assert b.mode is Mode.POST_LEAK_HOLD
    b.advance(600 * S + 350 * S)
    assert b.mode is Mode.NORMAL


def test_a_hold_ended_by_a_loss_is_a_hold_until_the_sensor_is_back_and_made_afresh():
    b = board(hold_when_lost="restart")
    into_hold(b)
    b.sensor("1", "open", 70 * S)
    b.advance(90 * S)
    assert b.mode is Mode.POST_LEAK_HOLD
    b.sensor("1", CLEAR, 600 * S)
    b.advance(602 * S)
    assert b.mode is Mode.POST_LEAK_HOLD
    b.advance(606 * S)
    assert b.mode is Mode.LEAK_ACTIVE
    b.advance(600 * S + 360 * S)
    assert b.mode is Mode.POST_LEAK_HOLD
    b.advance(600 * S + 380 * S)
    assert b.mode is Mode.NORMAL


@pytest.mark.parametrize("seed", range(6))
def test_one_lost_sensor_where_all_must_be_lost_breaks_a_low(seed):
    parameters = furnace()
    two = (parameters.sensors[0], Sensor(name="2", kind="supervised", lost_by=frozenset({"open"})))
    rules = dataclasses.replace(parameters.rules, lost_when="all")
    b = Board(dataclasses.replace(parameters, sensors=two, rules=rules), seed=seed, draw="nominal")
    b.sensor("1", CLEAR, 0)
    b.sensor("2", "normal", 0)
    b.supply(True, 1 * S)
    b.sensor("1", LEAK, 20 * S)
    b.sensor("1", CLEAR, 40 * S)
    b.sensor("2", "open", 42 * S)
    b.advance(80 * S)
    assert b.mode is Mode.LEAK_ACTIVE


def test_a_resting_contact_opens_as_the_program_starts_when_its_call_is_off():
    """So a call that comes later is answered within follow, not by contacts still at rest."""
    parameters = furnace()
    y = parameters.output("Y")
    modes = {**y.modes, Mode.UNPOWERED: Policy.FOLLOW, Mode.START_UP: Policy.FOLLOW}
    y = dataclasses.replace(y, modes=modes, follow_on=Interval(100_000, 250_000))
    outputs = tuple(y if o.name == "Y" else o for o in parameters.outputs)
    b = Board(dataclasses.replace(parameters, outputs=outputs), draw="nominal")
    b.sensor("1", CLEAR, 0)
    b.supply(True, 1 * S)
    b.advance(30 * S)
    b.call("Y", True, 30 * S)
    on = [c.at_us for c in b.advance(31 * S) if c.name == "Y" and c.on]
    assert 30_100_000 <= on[0] <= 30_250_000
