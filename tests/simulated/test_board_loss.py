"""Sensor loss, return and latching of the simulated board."""

from dataclasses import replace

import pytest

from firmware_ref.parameters import Interval, Mode, Parameters, Policy
from tests.boards import air_handler, furnace
from tests.simulated.rig import Rig, S
from tests.simulated.test_board_leak import holding, with_rules

SEEDS = range(12)


def allowing(parameters: Parameters, mode: Mode, policy: Policy) -> Parameters:
    """W as told in `mode`, so that the mode shows at the terminals."""
    outputs = tuple(
        replace(o, modes={**o.modes, mode: policy}) if o.name == "W" else o for o in parameters.outputs
    )
    return replace(parameters, outputs=outputs)


@pytest.mark.parametrize("way", ["open", "short"])
@pytest.mark.parametrize("seed", SEEDS)
def test_a_lost_sensor_is_noticed_within_loss_and_its_return_within_return(way, seed):
    rig = Rig(furnace(), seed=seed).up("Y", "W").gas(way)
    began = rig.t
    rig.wait(10)
    for name, on in (("Y", False), ("W", False), ("G", True)):
        after, became = rig.first(name, began)
        assert became is on
        assert 3 < after < 9
    good = rig.gas("normal").t
    rig.wait(10)
    assert 3 < rig.first("Y", good)[0] < 7.25
    assert rig.board.mode is Mode.NORMAL


@pytest.mark.parametrize("seed", SEEDS)
def test_a_loss_shorter_than_the_shortest_does_nothing(seed):
    rig = Rig(furnace(), seed=seed, draw="anywhere").up("Y").gas("open")
    since = rig.t
    assert rig.wait(2.999).gas("normal").wait(20).still("Y", since)


@pytest.mark.parametrize("seed", SEEDS)
def test_a_short_return_does_not_count(seed):
    rig = Rig(furnace(), seed=seed, draw="anywhere").up("Y").gas("open").wait(10)
    since = rig.gas("normal").t
    assert rig.wait(2.999).gas("open").wait(20).still("Y", since)


def test_only_the_states_in_lost_by_are_noticed_as_loss():
    parameters = furnace()
    deaf = replace(parameters.sensors[0], lost_by=frozenset({"short"}))
    rig = Rig(replace(parameters, sensors=(deaf,))).up("Y")
    since = rig.t
    assert rig.gas("open").wait(30).still("Y", since)
    assert not rig.gas("short").wait(10).still("Y", since)


def test_a_plain_contact_trips_and_cannot_be_lost():
    parameters = air_handler()
    plain = replace(parameters.sensors[0], kind="contact", lost_by=frozenset())
    rig = Rig(replace(parameters, sensors=(plain,))).up("Y")
    since = rig.t
    assert rig.gas("open").wait(30).still("Y", since)
    assert not rig.gas("leak").wait(6).still("Y", since)


def test_the_fault_policy_is_the_profiles_word():
    rig = Rig(air_handler()).up("Y", "W").gas("open").wait(11)
    assert rig.all() == (False, True, True)
    assert rig.off("W").wait(1).all() == (False, False, True)


@pytest.mark.parametrize("seed", SEEDS)
def test_a_latched_fault_stays_when_the_sensor_is_good_and_goes_after_the_reset(seed):
    rig = Rig(air_handler(), seed=seed).up("Y").gas("open").wait(11).gas("normal").wait(60)
    assert rig.board.mode is Mode.SENSOR_FAULT
    rig.outage(5).wait(2.1)
    assert rig.board.mode is Mode.SENSOR_FAULT
    rig.outage(11).wait(2.1)
    assert rig.board.mode is Mode.START_UP
    assert rig.wait(24).shows("Y")


def test_a_leak_in_a_latched_fault_trips_and_its_hold_ends_in_the_fault():
    rig = Rig(air_handler()).up("W").gas("open").wait(11).gas("normal").wait(20)
    since = rig.gas("leak").t
    rig.wait(6)
    assert rig.board.mode is Mode.LEAK_ACTIVE
    assert 1 < rig.first("W", since)[0] < 5
    low = rig.gas("normal").t
    rig.wait(520)
    assert rig.board.mode is Mode.SENSOR_FAULT
    assert 5 + 475 < rig.first("W", low)[0] < 11 + 485.4


def test_latching_that_is_not_stated_is_drawn():
    modes = {
        Rig(with_rules(furnace(), latching=None), seed=seed)
        .up()
        .gas("open")
        .wait(10)
        .gas("normal")
        .wait(10)
        .board.mode
        for seed in range(12)
    }
    assert modes == {Mode.NORMAL, Mode.SENSOR_FAULT}


@pytest.mark.parametrize("seed", SEEDS)
def test_a_loss_under_leak_keeps_mitigation_and_cancels_clear(seed):
    # Heat is allowed in sensor-fault, so that dropping into it would show.
    rig = (
        Rig(allowing(furnace(), Mode.SENSOR_FAULT, Policy.FOLLOW), seed=seed)
        .up("Y", "W")
        .gas("leak")
        .wait(10)
    )
    since = rig.gas("open").t
    rig.wait(60)
    good = rig.gas("normal").t
    assert all(rig.still(name, since) for name in "YWG")
    rig.wait(390)
    assert 3 + 355 < rig.first("W", good)[0] < 7 + 7 + 365.25


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize(
    ("rule", "low_s", "high_s"),
    [
        # First low at 0; lost from 88+12 = 100 s to 160 s.  restart: return 0..7, clear 3..7, hold 355..365;
        # pause: stopped from 100..109 until 163..167; run: as if nothing had been.
        ("restart", 160 + 358, 160 + 379.25),
        ("pause", 358 + 54, 372.25 + 67),
        ("run", 358, 372.25),
    ],
)
def test_a_hold_with_the_sensor_lost_goes_by_hold_when_lost(rule, low_s, high_s, seed):
    parameters = allowing(with_rules(furnace(), hold_when_lost=rule), Mode.SENSOR_FAULT, Policy.FOLLOW)
    rig = holding(parameters, seed).wait(88).gas("open").wait(60).gas("normal").wait(500)
    assert low_s < rig.first("W", rig.low)[0] < high_s
    assert low_s < rig.first("Y", rig.low)[0] < high_s


@pytest.mark.parametrize("seed", SEEDS)
def test_run_with_the_sensor_still_lost_at_the_end_is_a_sensor_fault(seed):
    parameters = allowing(with_rules(furnace(), hold_when_lost="run"), Mode.SENSOR_FAULT, Policy.FOLLOW)
    rig = holding(parameters, seed).wait(88).gas("open").wait(500)
    assert 358 < rig.first("W", rig.low)[0] < 372.25
    assert rig.board.mode is Mode.SENSOR_FAULT
    assert not rig.shows("Y")


@pytest.mark.parametrize("rule", ["restart", "pause"])
def test_restart_and_pause_wait_for_the_sensor(rule):
    rig = holding(with_rules(furnace(), hold_when_lost=rule)).wait(88).gas("open").wait(3000)
    assert rig.still("Y", rig.low)


def test_hold_when_lost_that_is_not_stated_is_drawn_among_all_three():
    parameters = with_rules(furnace(), hold_when_lost=None)
    answers = set()
    for seed in range(30):
        after = holding(parameters, seed).wait(88).gas("open").wait(60).gas("normal").wait(500)
        first = after.first("Y", after.low)[0]
        answers |= {
            n
            for n, lo, hi in (("run", 358, 373), ("pause", 412, 440), ("restart", 518, 540))
            if lo < first < hi
        }
    assert answers == {"run", "pause", "restart"}


def test_a_loss_that_stands_at_the_end_of_a_running_hold_latches():
    rig = holding(air_handler()).wait(88).gas("open").wait(500).gas("normal").wait(100)
    assert rig.board.mode is Mode.SENSOR_FAULT


def test_a_loss_that_came_and_went_in_mitigation_latches_on_some_boards():
    modes = {
        holding(air_handler(), seed).wait(88).gas("open").wait(20).gas("normal").wait(500).board.mode
        for seed in range(12)
    }
    assert modes == {Mode.NORMAL, Mode.SENSOR_FAULT}


def test_a_short_loss_in_a_low_breaks_clear_on_some_boards_only():
    broken = set()
    for seed in range(16):
        rig = Rig(furnace(), seed=seed, draw="nominal").up("Y").gas("leak").wait(10)
        low = rig.gas("normal").t
        rig.wait(3).gas("open").wait(0.5).gas("normal").wait(400)
        broken.add(rig.first("Y", low)[0] > 367)
    assert broken == {True, False}


@pytest.mark.parametrize("seed", SEEDS)
def test_a_fault_may_end_in_a_hold(seed):
    rig = Rig(with_rules(furnace(), after_fault="hold"), seed=seed).up("Y").gas("open").wait(10)
    good = rig.gas("normal").t
    rig.wait(400)
    assert 3 + 355 < rig.first("Y", good)[0] < 7 + 365.25


def test_after_a_fault_into_a_hold_a_reading_between_counts_from_the_holds_start():
    rig = Rig(with_rules(furnace(), after_fault="hold", hold_on_band="pause")).up("Y").gas("open").wait(10)
    rig.gas("between").wait(100)
    low = rig.gas("normal").t
    rig.wait(400)
    assert 355 < rig.first("Y", low)[0] < 365.25


def test_good_again_while_high_trips_within_return_and_trip():
    parameters = allowing(furnace(), Mode.LEAK_ACTIVE, Policy.OFF)
    parameters = allowing(parameters, Mode.SENSOR_FAULT, Policy.FOLLOW)
    short_releases = 0
    for seed in range(40):
        rig = Rig(parameters, seed=seed).up("Y", "W").gas("open").wait(10)
        good = rig.gas("leak").t
        rig.wait(20)
        assert rig.board.mode is Mode.LEAK_ACTIVE
        assert 2 < (rig.edges("W", good)[-1][0] - good) / S < 7 + 6
        short_releases += bool(rig.edges("Y", good))
    assert 0 < short_releases < 40


def test_return_only_when_not_high_forbids_the_short_release():
    parameters = with_rules(furnace(), return_only_when="not-high")
    for seed in range(20):
        rig = Rig(parameters, seed=seed).up("Y").gas("open").wait(10)
        good = rig.gas("leak").t
        assert rig.wait(20).still("Y", good)


def two_sensors(parameters: Parameters, lost_when: str) -> Parameters:
    second = replace(parameters.sensors[0], name="2")
    return with_rules(replace(parameters, sensors=(*parameters.sensors, second)), lost_when=lost_when)


@pytest.mark.parametrize("seed", SEEDS)
def test_either_of_two_sensors_trips_and_both_must_be_low(seed):
    rig = Rig(two_sensors(furnace(), "any"), seed=seed).up("Y").gas("leak", "2")
    began = rig.t
    assert 2 < rig.wait(7).first("Y", began)[0] < 6
    rig.gas("normal", "2").gas("between", "1").wait(400)
    assert not rig.shows("Y")
    low = rig.gas("normal", "1").t
    assert 358 < rig.wait(400).first("Y", low)[0] < 372.25


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("rule", ["any", "all"])
def test_lost_when_any_or_all(rule, seed):
    rig = Rig(two_sensors(furnace(), rule), seed=seed).up("Y")
    since = rig.gas("open", "2").t
    rig.wait(10)
    assert rig.still("Y", since) is (rule == "all")
    both = rig.gas("open", "1").t
    rig.wait(10)
    assert not rig.shows("Y")
    rig.gas("normal", "1").wait(10)
    assert not rig.shows("Y"), "all must be good to leave sensor-fault"
    rig.gas("normal", "2").wait(10)
    assert rig.shows("Y")
    assert rule == "any" or 3 < rig.first("Y", both)[0] < 9


def test_each_sensor_has_its_own_timers_or_both_have_one_condition():
    """Sensor 1 high for 1.5 s, sensor 2 high from 1 s on: the joint condition began with the first."""
    early = set()
    parameters = two_sensors(furnace(), "any")
    parameters = replace(parameters, timing=replace(parameters.timing, trip=Interval(3 * S, 4 * S)))
    outputs = tuple(replace(o, trip=Interval(3 * S, 4 * S)) for o in parameters.outputs)
    for seed in range(12):
        rig = Rig(replace(parameters, outputs=outputs), seed=seed).up("Y").gas("leak", "1").wait(1)
        second = rig.gas("leak", "2").t
        rig.wait(0.5).gas("normal", "1").wait(7)
        after = rig.first("Y", second)[0]
        assert 2 < after < 4
        early.add(after < 3)
    assert early == {True, False}


@pytest.mark.parametrize("rule", ["pause", "restart"])
def test_a_disturbed_hold_waits_for_low_also_with_the_sensor_lost_and_running(rule):
    parameters = with_rules(furnace(), hold_on_band=rule, hold_when_lost="run")
    rig = holding(parameters).wait(88).gas("between").wait(30).gas("open").wait(600)
    assert rig.still("Y", rig.low)
    good = rig.gas("normal").t
    after, on = rig.wait(500).first("Y", good)
    assert on
    assert after > (250 if rule == "pause" else 355)
