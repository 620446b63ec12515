"""Following calls, restart delay, feed and bounce of the simulated board's outputs."""

from dataclasses import replace

import pytest

from firmware_ref.parameters import Interval, Restart
from tests.boards import MS, furnace
from tests.simulated.rig import Rig, S

SEEDS = range(12)


def with_output(name, **changes):
    parameters = furnace()
    outputs = tuple(replace(o, **changes) if o.name == name else o for o in parameters.outputs)
    return replace(parameters, outputs=outputs)


@pytest.mark.parametrize("seed", SEEDS)
def test_outputs_follow_their_calls_within_the_limits(seed):
    rig = Rig(furnace(), seed=seed).up()
    for name in "YWG":
        began = rig.on(name).t
        after, on = rig.wait(1).first(name, began)
        assert on
        assert 0 < after < 0.25
        began = rig.off(name).t
        after, on = rig.wait(1).first(name, began)
        assert not on
        assert after == 0.0 if name != "G" else 0 < after < 0.25


@pytest.mark.parametrize("seed", SEEDS)
def test_a_lower_limit_of_follow_holds(seed):
    limits = Interval(100 * MS, 300 * MS)
    rig = Rig(with_output("G", follow_on=limits, follow_off=limits), seed=seed).up()
    began = rig.on("G").t
    assert 0.1 < rig.wait(1).first("G", began)[0] < 0.3
    began = rig.off("G").t
    assert 0.1 < rig.wait(1).first("G", began)[0] < 0.3


def test_a_newer_call_change_supersedes_a_pending_one():
    parameters = with_output("G", follow_on=Interval(200 * MS, 300 * MS))
    rig = Rig(parameters).up()
    since = rig.on("G").t
    rig.wait(0.1).off("G").wait(2)
    assert rig.still("G", since)


def test_a_call_that_is_gone_takes_its_output_with_it_at_once_and_the_blower_not():
    rig = Rig(furnace()).up("Y", "G")
    gone = rig.off("Y", "G").t
    rig.wait(1)
    assert rig.edges("Y", gone) == [(gone, False)]
    assert rig.edges("G", gone)[0][0] > gone


@pytest.mark.parametrize("seed", SEEDS)
def test_contacts_bounce_for_a_few_milliseconds_after_the_first_edge_and_then_rest(seed):
    rig = Rig(furnace(), seed=seed).up()
    began = rig.on("Y").t
    rig.wait(2)
    closing = [(at, on) for at, name, on in rig.raw if name == "Y" and at >= began]
    assert len(closing) in (3, 5)
    assert [on for _, on in closing] == [True, False, True, False, True][: len(closing)]
    assert closing[-1][0] - closing[0][0] <= 3 * MS


def restarting(*after: str):
    return with_output("Y", restart=Restart(frozenset(after), Interval(170 * S, 190 * S)))


@pytest.mark.parametrize("seed", SEEDS)
def test_restart_after_any_off_keeps_the_output_off_and_then_lets_it_follow(seed):
    rig = Rig(restarting("any-off"), seed=seed).up("Y")
    off = rig.off("Y").t
    rig.wait(0.05).on("Y").wait(300)
    (gone, _), (back, on) = rig.edges("Y", off)
    assert gone == off
    assert on
    assert 170 < (back - off) / S < 190


@pytest.mark.parametrize("seed", SEEDS)
def test_restart_after_power_up_counts_from_the_supply(seed):
    rig = Rig(restarting("power-up"), seed=seed).gas("normal").on("Y").wait(1).power(True)
    began = rig.t
    assert 170 < rig.wait(300).first("Y", began)[0] < 190


def test_restart_names_what_it_runs_after():
    rig = Rig(restarting("power-up")).up().wait(200).on("Y").wait(1).off("Y").wait(1)
    began = rig.on("Y").t
    assert rig.wait(1).first("Y", began)[0] < 0.25


@pytest.mark.parametrize("seed", SEEDS)
def test_restart_after_release_runs_from_the_end_of_the_hold(seed):
    rig = Rig(restarting("release"), seed=seed).up("Y", "W").gas("leak").wait(10)
    rig.gas("normal").wait(700)
    released = rig.edges("W")[-1][0]
    assert 170 - 0.25 < (rig.edges("Y")[-1][0] - released) / S < 190 + 0.25


def test_restart_after_return_runs_from_the_end_of_the_fault():
    rig = Rig(restarting("return")).up("Y", "W").gas("open").wait(10)
    rig.gas("normal").wait(300)
    returned = rig.edges("W")[-1][0]
    assert 170 - 0.25 < (rig.edges("Y")[-1][0] - returned) / S < 190 + 0.25


def test_mitigation_overrides_restart_and_it_runs_on_underneath():
    parameters = with_output("G", restart=Restart(frozenset({"any-off"}), Interval(170 * S, 190 * S)))
    rig = Rig(parameters).up("G").off("G").wait(1)
    leak = rig.on("G").gas("leak").t
    after, on = rig.wait(10).first("G", leak)
    assert on
    assert after < 6


def test_terminal_changes_come_in_order_and_each_is_a_change():
    rig = (
        Rig(furnace())
        .up("Y", "W", "G")
        .gas("leak")
        .wait(20)
        .gas("normal")
        .wait(400)
        .off("Y", "W", "G")
        .wait(1)
    )
    times = [at for at, _, _ in rig.raw]
    assert times == sorted(times)
    level = dict.fromkeys("YWG", False)
    for _, name, on in rig.raw:
        assert level[name] is not on
        level[name] = on
