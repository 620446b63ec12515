"""One concrete board: timers as data, every timing at its nominal."""

from __future__ import annotations

import dataclasses

import pytest

from firmware_ref.parameters import Condition, Mode
from firmware_ref.reference import ReferenceBoard
from tests.boards import S, air_handler, furnace

LOW, BETWEEN, HIGH, LOST = Condition.LOW, Condition.BETWEEN, Condition.HIGH, Condition.LOST


def ready(parameters=None) -> ReferenceBoard:
    board = ReferenceBoard(parameters or furnace())
    board.supply(True, 0)
    board.condition(LOW, 0)
    board.advance_to(20 * S)
    return board


def with_rules(parameters, **rules):
    return dataclasses.replace(parameters, rules=dataclasses.replace(parameters.rules, **rules))


def test_start_up_then_normal():
    board = ReferenceBoard(furnace())
    board.supply(True, 0)
    board.condition(LOW, 0)
    board.advance_to(9_999_999)
    assert board.mode is Mode.START_UP
    board.advance_to(10 * S)
    assert board.mode is Mode.NORMAL


def test_leak_clear_hold_release():
    board = ready()
    board.condition(HIGH, 20 * S)
    board.advance_to(23_999_999)
    assert board.mode is Mode.NORMAL
    board.advance_to(24 * S)
    assert board.mode is Mode.LEAK_ACTIVE
    board.condition(LOW, 40 * S)
    assert board.next_deadline_us() == 45 * S
    board.advance_to(45 * S)
    assert board.mode is Mode.POST_LEAK_HOLD
    assert board.next_deadline_us() == (45 + 360) * S
    board.advance_to(405 * S)
    assert board.mode is Mode.NORMAL


@pytest.mark.parametrize("gap", [BETWEEN, LOW, LOST])
def test_a_high_that_breaks_off_does_not_add_up(gap):
    board = ready()
    for at in (20, 25, 30):
        board.condition(HIGH, at * S)
        board.condition(gap, (at + 3) * S)
        if gap is LOST:
            board.condition(LOW, (at + 4) * S)
    board.advance_to(45 * S)
    assert board.mode is Mode.NORMAL


def test_a_leak_in_the_hold_starts_it_afresh():
    board = ready()
    board.condition(HIGH, 20 * S)
    board.condition(LOW, 40 * S)
    board.condition(HIGH, 200 * S)
    board.condition(LOW, 210 * S)
    board.advance_to(215 * S + 360 * S - 1)
    assert board.mode is Mode.POST_LEAK_HOLD
    board.advance_to(215 * S + 360 * S)
    assert board.mode is Mode.NORMAL


@pytest.mark.parametrize(("rule", "ends_s"), [("continue", 405), ("pause", 425), ("restart", 580)])
def test_a_hold_in_the_band(rule, ends_s):
    board = ready(with_rules(furnace(), hold_on_band=rule))
    board.condition(HIGH, 20 * S)
    board.condition(LOW, 40 * S)
    board.condition(BETWEEN, 200 * S)
    board.condition(LOW, 220 * S)
    board.advance_to(ends_s * S - 1)
    assert board.mode is Mode.POST_LEAK_HOLD
    board.advance_to(ends_s * S)
    assert board.mode is Mode.NORMAL


@pytest.mark.parametrize(
    ("rule", "ends_s"),
    # loss at 100 s (noticed at 106 s), good and low at 150 s (returned at 155 s)
    [("run", 405), ("pause", 155 + 405 - 106), ("restart", 155 + 5 + 360)],
)
def test_a_loss_in_the_hold(rule, ends_s):
    board = ready(with_rules(furnace(), hold_when_lost=rule))
    board.condition(HIGH, 20 * S)
    board.condition(LOW, 40 * S)
    board.condition(LOST, 100 * S)
    board.condition(LOW, 150 * S)
    board.advance_to(ends_s * S - 1)
    assert board.mode in (Mode.POST_LEAK_HOLD, Mode.LEAK_ACTIVE)
    board.advance_to(ends_s * S)
    assert board.mode is Mode.NORMAL


def test_a_loss_that_outlasts_a_running_hold_ends_in_sensor_fault():
    board = ready(with_rules(furnace(), hold_when_lost="run"))
    board.condition(HIGH, 20 * S)
    board.condition(LOW, 40 * S)
    board.condition(LOST, 100 * S)
    board.advance_to(405 * S)
    assert board.mode is Mode.SENSOR_FAULT


def test_a_latched_fault_needs_the_supply_off_for_its_time():
    board = ready(air_handler())
    board.advance_to(25 * S)
    board.condition(LOST, 25 * S)
    board.condition(LOW, 60 * S)
    board.advance_to(100 * S)
    assert board.mode is Mode.SENSOR_FAULT
    board.supply(False, 100 * S)
    board.supply(True, 105 * S)
    board.advance_to(110 * S)
    assert board.mode is Mode.SENSOR_FAULT
    board.supply(False, 120 * S)
    board.supply(True, 131 * S)
    board.advance_to(160 * S)
    assert board.mode is Mode.NORMAL


@pytest.mark.parametrize(
    ("rule", "mode_at_260_s", "ends_s"),
    # 45 s into a hold begun at 45 s the supply is off from 90 s to 250 s
    [
        ("forget", Mode.START_UP, 260),
        ("restart_hold", Mode.POST_LEAK_HOLD, 615),
        ("resume", Mode.POST_LEAK_HOLD, 565),
    ],
)
def test_after_a_supply_loss_in_the_hold(rule, mode_at_260_s, ends_s):
    board = ready(with_rules(furnace(), after_supply_loss=rule))
    board.condition(HIGH, 20 * S)
    board.condition(LOW, 40 * S)
    board.supply(False, 90 * S)
    board.supply(True, 250 * S)
    board.advance_to(259 * S)
    assert board.mode is mode_at_260_s
    board.advance_to((ends_s + 2) * S)
    assert board.mode is Mode.NORMAL


def test_time_does_not_go_back():
    board = ready()
    with pytest.raises(ValueError, match="goes back"):
        board.advance_to(19 * S)
