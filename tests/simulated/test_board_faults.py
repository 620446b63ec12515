"""Each board fault does what it says, and nothing else."""

from dataclasses import replace

import pytest

from bench.judge.bounds import expected_bound_us
from bench.simulated.faults import catalogue
from firmware_ref.parameters import Mode
from tests.boards import MS, air_handler, furnace
from tests.simulated.rig import Rig, S
from tests.simulated.test_board_leak import holding, with_rules

SEEDS = range(8)
SHORTEST_US = (3 + 355) * S
LONGEST_US = (7 + 365) * S + 250 * MS


def test_a_welded_contact_follows_its_call_and_stays_on_under_leak():
    rig = Rig(furnace(), faults=("stuck-on:W",)).up("Y", "W").gas("leak").wait(7)
    assert rig.all() == (False, True, True)
    assert rig.off("W").wait(1).all() == (False, False, True)


def test_a_welded_blower_runs_whenever_there_is_supply():
    rig = Rig(furnace(), faults=("stuck-on:G",)).gas("normal").wait(1)
    assert not rig.shows("G")
    on = rig.power(True).t
    assert rig.wait(20).edges("G") == [(on, True)]


def test_a_dead_output_never_comes_on_and_the_others_do():
    rig = Rig(furnace(), faults=("stuck-off:Y",)).up("Y", "W", "G")
    assert rig.all() == (False, True, True)


def test_a_dead_call_is_not_noticed_but_mitigation_is_done():
    rig = Rig(furnace(), faults=("call-dead:G",)).up("Y", "W", "G")
    assert rig.all() == (True, True, False)
    assert rig.gas("leak").wait(7).all() == (False, False, True)


def test_crossed_outputs_change_places():
    rig = Rig(furnace(), faults=("crossed:Y,W",)).up("Y")
    assert rig.all() == (False, True, False)
    assert rig.off("Y").on("W").wait(1).all() == (True, False, False)


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize(("typed", "size_us"), [("hold-short", None), ("hold-short=20 s", 20 * S)])
def test_hold_short_ends_too_early_by_the_size(typed, size_us, seed):
    size_us = size_us or 3 * expected_bound_us(LONGEST_US)
    rig = holding(furnace(), seed, faults=(typed,)).wait(400)
    for name in "YW":
        assert rig.edges(name, rig.low)[0][0] - rig.low == SHORTEST_US - size_us


@pytest.mark.parametrize("seed", SEEDS)
def test_hold_short_is_short_after_a_second_leak_too(seed):
    rig = holding(furnace(), seed, faults=("hold-short=5 s",)).wait(100).gas("leak").wait(10)
    low = rig.gas("normal").t
    assert rig.wait(400).edges("Y", low)[0][0] - low == SHORTEST_US - 5 * S


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize(("typed", "size_us"), [("hold-long", None), ("hold-long=20 s", 20 * S)])
def test_hold_long_ends_too_late_by_the_size(typed, size_us, seed):
    size_us = size_us or 3 * expected_bound_us(LONGEST_US)
    rig = holding(furnace(), seed, faults=(typed,)).wait(400)
    for name in "YW":
        assert rig.edges(name, rig.low)[0][0] - rig.low == LONGEST_US + size_us


@pytest.mark.parametrize("board", [furnace, air_handler])
@pytest.mark.parametrize("seed", SEEDS)
def test_no_restart_lets_the_first_hold_run_through_a_second_leak(board, seed):
    parameters = board()
    timing = parameters.timing
    rig = (
        holding(parameters, seed, faults=("no-restart",))
        .wait(180)
        .gas("leak")
        .wait(7)
        .gas("normal")
        .wait(500)
    )
    released = rig.edges("Y", rig.low)[0][0] - rig.low
    react = parameters.outputs[0].react_on.max_us
    assert (
        timing.clear.min_us + timing.hold.min_us < released < timing.clear.max_us + timing.hold.max_us + react
    )
    assert rig.board.mode is Mode.NORMAL


def test_no_restart_releases_with_the_leak_still_there_and_then_trips():
    rig = holding(furnace(), faults=("no-restart",)).wait(180).gas("leak").wait(400)
    (released, on), (tripped, off) = rig.edges("Y", rig.low)
    assert (on, off) == (True, False)
    assert SHORTEST_US < released - rig.low < LONGEST_US
    assert tripped - released > 1.7 * S


def test_no_release_never_releases():
    rig = holding(furnace(), faults=("no-release",)).wait(4000)
    assert rig.still("Y", rig.low)
    assert rig.shows("G")


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize(("typed", "size_us"), [("slow-trip", 3 * 8_900), ("slow-trip=2 s", 2 * S)])
def test_slow_trip_comes_too_late_by_the_size(typed, size_us, seed):
    rig = Rig(furnace(), seed=seed, faults=(typed,)).up("Y", "W").gas("leak")
    began = rig.t
    rig.wait(10)
    assert {rig.edges(name, began)[0][0] - began for name in "YWG"} == {6 * S + size_us}


@pytest.mark.parametrize("seed", SEEDS)
def test_trip_high_trips_above_its_band_by_the_size(seed):
    rig = Rig(furnace(), seed=seed, faults=("trip-high=3 %LFL",)).up("Y")
    since = rig.t
    assert rig.gas(1_300_000 + 119_999).wait(20).still("Y", since)
    assert not rig.gas(1_300_000 + 120_000).wait(20).still("Y", since)


def test_trip_high_by_default_is_not_reached_two_bounds_above_the_band():
    rig = Rig(furnace(), faults=("trip-high",)).up("Y")
    since = rig.t
    assert rig.gas(1_300_000 + 10_000).wait(60).still("Y", since)


@pytest.mark.parametrize("way", ["open", "short"])
def test_loss_ignored_notices_nothing_and_still_trips(way):
    rig = Rig(furnace(), faults=("loss-ignored",)).up("Y")
    since = rig.t
    assert rig.gas(way).wait(100).still("Y", since)
    assert not rig.gas("leak").wait(7).still("Y", since)


@pytest.mark.parametrize("seed", SEEDS)
def test_loss_ends_mitigation_releases_under_leak_and_in_the_hold(seed):
    rig = Rig(furnace(), seed=seed, faults=("loss-ends-mitigation",)).up("Y").gas("leak").wait(10)
    lost = rig.gas("open").t
    rig.wait(30)
    (released, on), (noticed, off) = rig.edges("Y", lost)
    assert (on, off) == (True, False)
    assert 3 < (released - lost) / S < 9.25
    assert noticed - released > 2 * S
    rig = holding(furnace(), seed, faults=("loss-ends-mitigation",)).gas("open")
    lost = rig.t
    assert 3 < rig.wait(30).first("Y", lost)[0] < 9.25


@pytest.mark.parametrize("name", ["Y", "G"])
def test_chatter_is_bursts_of_pulses_shorter_than_the_glitch_time_at_rest(name):
    rig = Rig(furnace(), faults=(f"chatter:{name}",)).up("Y", "W", "G")
    began = rig.t
    rig.wait(20)
    pulses = [(at, on) for at, n, on in rig.raw if n == name and at > began]
    assert len(pulses) >= 2 * 10
    downs = [at for at, on in pulses if not on]
    widths = [
        up - down for (down, off), (up, on) in zip(pulses[::2], pulses[1::2], strict=True) if on and not off
    ]
    assert len(widths) == len(downs)
    assert set(widths) == {18 * MS}
    assert any(b - a < S for a, b in zip(downs, downs[3:], strict=False)), "more than three within a second"
    assert all(rig.still(n, began) for n in {"Y", "W", "G"} - {name})
    assert rig.shows(name)


def test_chatter_keeps_still_around_a_change():
    rig = Rig(furnace(), faults=("chatter:W",)).up("W").wait(10)
    for _ in range(20):
        changed = rig.off("W").t
        rig.wait(0.8)
        assert len([1 for at, n, _ in rig.raw if n == "W" and at > changed]) <= 1
        changed = rig.on("W").t
        rig.wait(0.8)
        bounced = [at for at, n, on in rig.raw if n == "W" and at > changed]
        assert bounced[-1] - bounced[0] <= 5 * MS
        rig.wait(3.7)


@pytest.mark.parametrize("seed", SEEDS)
def test_reboots_restarts_once_when_two_outputs_have_been_on_for_a_second(seed):
    rig = Rig(furnace(), seed=seed, faults=("reboots",)).up("Y")
    since = rig.t
    assert rig.wait(20).still("Y", since)
    began = rig.on("W").t
    rig.wait(60)
    on_at = rig.edges("W", began)[0][0]
    (down, off), (back, on) = rig.edges("Y", began)
    assert (off, on) == (False, True)
    assert 1.0 <= (down - on_at) / S < 1.05
    assert 8 < (back - down) / S < 12.25
    later = rig.t
    assert rig.wait(600).still("Y", later)


def test_reboots_keeps_out_of_a_leak():
    rig = Rig(furnace(), faults=("reboots",)).up("Y").on("W").wait(0.5).gas("leak").wait(5)
    assert rig.board.mode in (Mode.NORMAL, Mode.LEAK_ACTIVE)


def test_loads_supply_overloads_its_source_while_supplied_and_never_runs():
    rig = Rig(furnace(), faults=("loads-supply",))
    assert not rig.board.drops_supply
    rig.gas("normal").on("Y", "G").power(True)
    assert rig.board.drops_supply
    rig.wait(60)
    assert rig.raw == []
    rig.power(False)
    assert not rig.board.drops_supply


def test_two_faults_of_one_kind_are_both_there():
    rig = Rig(furnace(), faults=("stuck-off:Y", "stuck-off:W")).up("Y", "W", "G")
    assert rig.all() == (False, False, True)


@pytest.mark.parametrize("board", [furnace, air_handler])
def test_every_board_fault_that_is_listed_changes_what_a_run_shows(board):
    parameters = board()

    def story(*faults):
        rig = Rig(parameters, faults=faults)
        rig.gas("normal").wait(1).power(True).wait(30)
        for call in parameters.calls:
            rig.on(call).wait(3)
        level = {"analog": 1_300_000 + 10_000}.get(parameters.sensors[0].kind, "leak")
        low = {"analog": 820_000 - 10_000}.get(parameters.sensors[0].kind, "normal")
        rig.gas(level).wait(20).off(*parameters.calls).wait(3).on(*parameters.calls).wait(3)
        rig.gas(low).wait(200).gas(level).wait(10).gas(low).wait(20)
        rig.off(*parameters.calls).wait(500).on(*parameters.calls).wait(3)
        rig.gas("open").wait(20).gas("normal").wait(20).press(5).wait(20)
        rig.gas("open").wait(20).gas("normal").wait(20).outage(15).wait(40)
        rig.gas("leak").wait(10).gas("open").wait(40)
        return rig.raw, rig.board.drops_supply, rig.board.feeds_back

    good = story()
    for entry in catalogue(parameters):
        if entry.kind == "board":
            assert story(entry.name) != good, entry.name


def test_fixture_faults_leave_the_board_alone():
    good = Rig(furnace()).up("Y").raw
    assert Rig(furnace(), faults=("relay-dead:call.Y", "signal-drift")).up("Y").raw == good


def test_faults_keep_off_the_other_mode_rules():
    parameters = with_rules(replace(furnace()), hold_on_band="continue")
    rig = (
        holding(parameters, faults=("no-restart",)).wait(100).gas("between").wait(20).gas("normal").wait(400)
    )
    assert SHORTEST_US < rig.edges("Y", rig.low)[0][0] - rig.low < LONGEST_US
