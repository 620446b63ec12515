"""Each row of the transition table, and the fine points that concern the board, on the firmware in virtual time.

Times are those of the middle of the profile's intervals, at the terminals, to
within a relay and a half cycle.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from firmware_ref.parameters import Interval, Mode, Output, Parameters, Restart, Rules
from tests.boards import air_handler, furnace, policies, within
from tests.firmware_ref.board.rig import Rig

NEAR = 0.025
REACT_F, REACT_A = 0.125, 0.2


def near(seconds: float) -> object:
    return pytest.approx(seconds, abs=NEAR)


def with_rules(parameters: Parameters, **rules: object) -> Parameters:
    return replace(parameters, rules=replace(parameters.rules, **rules))  # type: ignore[arg-type]


# -- unpowered and start-up ------------------------------------------------------------------


def test_unpowered_shows_nothing_and_boot_forces_the_blower_where_the_profile_says() -> None:
    rig = Rig(air_handler()).on("Y", "W", "G").gas("clear").wait(1)
    assert rig.shows() == "" and rig.mode is Mode.UNPOWERED
    came = rig.main(True).t
    rig.wait(3)
    assert rig.mode is Mode.START_UP
    assert rig.moves(came) == [("G", True, near(1.0 + REACT_A))]


def test_warm_up_over_leads_to_normal() -> None:
    rig = Rig(furnace()).on("Y").gas("clear").wait(0.1)
    came = rig.main(True).t
    rig.wait(12)
    assert rig.mode is Mode.NORMAL
    assert rig.moves(came) == [("Y", True, near(10 + REACT_F))]


def test_a_leak_and_a_loss_in_start_up_qualify() -> None:
    leak = Rig(furnace()).gas("leak").wait(0.1).main(True).wait(8)
    assert leak.mode is Mode.LEAK_ACTIVE and leak.shows() == "G"
    lost = Rig(furnace()).gas("open").wait(0.1).main(True).wait(8)
    assert lost.mode is Mode.SENSOR_FAULT and lost.shows() == "G"


def test_between_at_power_up_is_no_leak() -> None:
    assert Rig(furnace()).gas("between").wait(0.1).main(True).wait(13).mode is Mode.NORMAL


def test_check_before_normal_keeps_off_what_a_leak_would_take_away() -> None:
    late = with_rules(furnace(), check_before_normal=True)
    for parameters, passes in ((furnace(), True), (late, False)):
        rig = Rig(parameters).on("Y").gas("clear").wait(0.1).main(True).wait(9)
        rig.gas("leak").wait(2)
        assert ("Y" in rig.shows()) is passes
        assert rig.wait(4).mode is Mode.LEAK_ACTIVE


# -- trip ------------------------------------------------------------------------------------


@pytest.mark.parametrize(("parameters", "trip"), [(furnace(), 4.0), (air_handler(), 3.0)])
def test_high_for_trip_leads_to_leak_active(parameters: Parameters, trip: float) -> None:
    rig = Rig(parameters).up("Y", "W")
    began = rig.t
    rig.leak()
    assert sorted(rig.moves(began)) == [
        ("G", True, near(trip)),
        ("W", False, near(trip)),
        ("Y", False, near(trip)),
    ]


def test_a_trip_total_of_one_output_moves_that_one_later() -> None:
    plain = furnace()
    slow = replace(plain.output("Y"), trip=Interval(5_000_000, 6_000_000))
    rig = Rig(replace(plain, outputs=(slow, *plain.outputs[1:]))).up("Y", "W")
    began = rig.t
    rig.leak()
    assert rig.move("W", False, began) == near(4.0)
    assert rig.move("Y", False, began) == near(5.5)


def test_a_broken_high_starts_the_trip_afresh() -> None:
    rig = Rig(furnace()).up("Y")
    for word in ("clear", "between", "clear"):
        rig.gas("leak").wait(3.5).gas(word).wait(0.5)
    assert rig.mode is Mode.NORMAL and rig.shows() == "Y"


# -- leak-active -----------------------------------------------------------------------------


def test_calls_change_nothing_in_leak_and_hold() -> None:
    rig = Rig(furnace()).up().leak()
    began = rig.t
    rig.on("Y", "W", "G").wait(1).off("G", "W").wait(1).hold().on("W").wait(1)
    assert rig.moves(began) == []


def test_clear_then_the_whole_hold_then_follow() -> None:
    rig = Rig(furnace()).up("Y").leak()
    low = rig.t
    rig.hold().wait(370)
    assert rig.mode is Mode.NORMAL
    assert sorted(rig.moves(low)) == [("G", False, near(365 + REACT_F)), ("Y", True, near(365 + REACT_F))]


def test_a_low_broken_by_between_starts_the_clear_afresh() -> None:
    rig = Rig(furnace()).up().leak()
    rig.gas("clear").wait(4).gas("between").wait(0.5).gas("clear").wait(4)
    assert rig.mode is Mode.LEAK_ACTIVE
    assert rig.wait(1.5).mode is Mode.POST_LEAK_HOLD


def test_a_loss_in_the_leak_keeps_up_the_mitigation_and_cancels_the_clear() -> None:
    rig = Rig(furnace()).up("Y").leak()
    began = rig.t
    rig.lose().gas("clear").wait(9.5)  # return 5 s, then clear 5 s
    assert rig.mode is Mode.LEAK_ACTIVE
    assert rig.wait(1).mode is Mode.POST_LEAK_HOLD
    assert rig.moves(began) == []


# -- hold ------------------------------------------------------------------------------------


def test_a_leak_in_the_hold_starts_it_afresh() -> None:
    rig = Rig(air_handler()).up("Y").leak().hold().wait(300).leak()
    low = rig.t
    rig.hold().wait(490)
    assert rig.move("Y", True, low) == near(8 + 480 + REACT_A)


@pytest.mark.parametrize(
    ("rule", "release"),
    [("continue", 5 + 360), ("pause", 5 + 360 + 100), ("restart", 5 + 200 + 100 + 360)],
)
def test_gas_below_the_trip_level_in_the_hold(rule: str, release: float) -> None:
    rig = Rig(with_rules(furnace(), hold_on_band=rule)).up("Y").leak()
    low = rig.t
    rig.gas("clear").wait(205).gas("between").wait(100).gas("clear").wait(400)
    assert rig.move("Y", True, low) == near(release + REACT_F)


@pytest.mark.parametrize(
    ("rule", "release"),
    # Lost at 105 s, noticed 6 s later, good again at 205 s, returned 5 s later.
    [("run", 365), ("pause", 111 + 99 + 254), ("restart", 210 + 5 + 360)],
)
def test_a_sensor_lost_in_the_hold(rule: str, release: float) -> None:
    rig = Rig(with_rules(furnace(), hold_when_lost=rule)).up("Y").leak()
    low = rig.t
    rig.gas("clear").wait(105).gas("short").wait(100).gas("clear").wait(400)
    assert rig.moves(low)[0][2] == near(release + REACT_F)


def test_a_sensor_still_lost_when_the_hold_has_run_is_a_fault() -> None:
    rig = Rig(air_handler()).up("Y", "W").leak().hold().lose().wait(490)
    assert rig.mode is Mode.SENSOR_FAULT and rig.shows() == "WG"
    assert rig.gas("clear").wait(20).mode is Mode.SENSOR_FAULT  # it latches


def test_a_hold_that_ends_only_when_low_waits_for_it() -> None:
    parameters = with_rules(furnace(), hold_on_band="continue", hold_ends_only_when="low")
    rig = Rig(parameters).up("Y").leak().hold().wait(300).gas("between").wait(100)
    assert rig.mode is Mode.POST_LEAK_HOLD
    assert rig.gas("clear").wait(1).mode is Mode.NORMAL


# -- sensor-fault ----------------------------------------------------------------------------


@pytest.mark.parametrize("way", ["open", "short"])
def test_lost_for_loss_and_good_for_return(way: str) -> None:
    rig = Rig(furnace()).up("Y")
    began = rig.t
    rig.lose(way)
    assert rig.mode is Mode.SENSOR_FAULT
    assert rig.move("Y", False, began) == near(6.0)
    good = rig.gas("clear").t
    rig.wait(7)
    assert rig.move("Y", True, good) == near(5 + REACT_F)


def test_a_short_loss_and_a_short_return_are_nothing() -> None:
    rig = Rig(furnace()).up("Y")
    for _ in range(3):
        rig.gas("open").wait(5.5).gas("clear").wait(0.3)
    assert rig.mode is Mode.NORMAL
    rig.lose()
    for _ in range(3):
        rig.gas("clear").wait(4.5).gas("open").wait(0.3)
    assert rig.mode is Mode.SENSOR_FAULT


def test_what_is_not_in_lost_by_is_not_lost() -> None:
    plain = furnace()
    sensor = replace(plain.sensors[0], lost_by=frozenset({"open"}))
    rig = Rig(replace(plain, sensors=(sensor,))).up("Y").lose("short")
    assert rig.mode is Mode.NORMAL


def test_a_fault_may_end_in_a_hold() -> None:
    rig = Rig(with_rules(furnace(), after_fault="hold")).up("Y").lose()
    good = rig.gas("clear").t
    rig.wait(370)
    assert rig.move("Y", True, good) == near(5 + 360 + REACT_F)


def test_a_good_sensor_with_gas_trips_out_of_the_fault_and_nothing_is_released_before() -> None:
    slow = replace(furnace(), timing=replace(furnace().timing, trip=Interval(7_000_000, 9_000_000)))
    outputs = tuple(replace(o, trip=slow.timing.trip) for o in slow.outputs)
    rig = Rig(replace(slow, outputs=outputs)).up("Y").lose()
    began = rig.t
    rig.gas("leak").wait(9)
    assert rig.mode is Mode.LEAK_ACTIVE and rig.moves(began) == []


# -- the latch -------------------------------------------------------------------------------


def test_a_latched_fault_stays_until_the_supply_was_off_for_the_reset_time() -> None:
    rig = Rig(air_handler()).up("Y", "W").lose().gas("clear").wait(30)
    assert rig.mode is Mode.SENSOR_FAULT and rig.shows() == "WG"
    came = rig.cut(9.5).t
    rig.wait(25)
    assert rig.mode is Mode.SENSOR_FAULT and "Y" not in rig.shows()
    assert rig.move("W", True, came) == near(1.0 + REACT_A)
    rig.cut(10.5).wait(25)
    assert rig.mode is Mode.NORMAL and "Y" in rig.shows()


def test_two_short_cuts_do_not_add_up_to_a_reset() -> None:
    rig = Rig(air_handler()).up().lose().gas("clear").wait(10).cut(6).wait(0.6).cut(6).wait(25)
    assert rig.mode is Mode.SENSOR_FAULT


def test_a_capacitor_run_empty_was_longer_than_the_reset() -> None:
    rig = Rig(air_handler()).up().lose().gas("clear").wait(10).main(False).wait(40)
    assert not rig.board.alive
    assert rig.main(True).wait(25).mode is Mode.NORMAL


def test_a_leak_in_a_latched_fault_trips_and_the_fault_is_back_after_its_hold() -> None:
    rig = Rig(air_handler()).up("Y", "W").lose().gas("clear").wait(10).leak().hold()
    assert rig.wait(490).mode is Mode.SENSOR_FAULT


# -- the supply ------------------------------------------------------------------------------


@pytest.mark.parametrize(("cut", "dips"), [(0.018, True), (0.1, True), (0.125, False), (0.3, False)])
def test_ride_through(cut: float, dips: bool) -> None:
    rig = Rig(furnace()).up("Y")
    rig.cut(cut).wait(0.3)
    assert (rig.mode is Mode.NORMAL) is dips
    assert rig.wait(12).mode is Mode.NORMAL


def test_timers_run_on_through_a_dip() -> None:
    rig = Rig(furnace()).up("Y").leak()
    low = rig.gas("clear").t
    rig.wait(100).cut(0.05).wait(300)
    assert [m for m in rig.moves(low) if m[0] == "Y"] == [("Y", True, near(365 + REACT_F))]


def test_outputs_are_as_before_within_follow_of_a_dip() -> None:
    rig = Rig(furnace()).up("Y", "G")
    back = rig.cut(0.06).t
    rig.wait(0.25)
    assert rig.shows() == "YG" and all(after < 0.25 for *_, after in rig.moves(back))


@pytest.mark.parametrize("off", [0.5, 3.0, 40.0])
def test_restart_hold_after_a_cut(off: float) -> None:
    rig = Rig(furnace()).up("Y").leak().hold().wait(200)
    came = rig.cut(off).t
    rig.wait(375)
    assert rig.move("G", True, came) == near(0.5 + REACT_F)
    # Low from the moment the board looks again, then the whole hold.
    assert rig.move("Y", True, came) == pytest.approx(0.5 + 5 + 360 + REACT_F, abs=0.6)


@pytest.mark.parametrize("off", [0.5, 3.0, 40.0])
def test_resume_after_a_cut(off: float) -> None:
    rig = Rig(air_handler()).up("Y").leak()
    low = rig.gas("clear").t
    rig.wait(200)
    came = rig.cut(off).t
    rig.wait(330)
    # 8 s of clear and 480 s of hold less what ran; without supply nothing runs but the ride-through.
    left = 8 + 480 - 200 - 0.16
    assert rig.move("Y", True, came) == pytest.approx(1.0 + left + REACT_A, abs=0.05)
    assert came > low


def test_forget_after_a_cut() -> None:
    rig = Rig(with_rules(furnace(), after_supply_loss="forget")).up("Y").leak().hold().cut(3).wait(12)
    assert rig.mode is Mode.NORMAL and rig.shows() == "Y"


def test_a_leak_is_remembered_and_a_second_cut_during_boot_keeps_it() -> None:
    rig = Rig(furnace()).up("Y").leak()
    rig.cut(2).wait(0.3).cut(40).wait(1)
    assert rig.mode is Mode.LEAK_ACTIVE and rig.shows() == "G"


def test_after_the_release_nothing_is_remembered() -> None:
    rig = Rig(furnace()).up("Y").leak().hold().wait(370)
    assert rig.cut(3).wait(1).mode is Mode.START_UP


def test_a_reset_of_the_controller_alone_keeps_the_hold() -> None:
    rig = Rig(air_handler()).up("Y").leak().hold().wait(100)
    rig.board.reset()
    assert rig.wait(2).mode is Mode.POST_LEAK_HOLD


# -- outputs ---------------------------------------------------------------------------------


def test_follow_and_a_call_pulse_that_is_swallowed() -> None:
    rig = Rig(furnace()).up()
    for call in ("Y", "W", "G"):
        began = rig.on(call).t
        rig.wait(0.5)
        assert rig.moves(began) == [(call, True, near(0.125))]
        began = rig.off(call).t
        rig.wait(0.5)
        # What is fed by its call goes with it.
        assert rig.moves(began) == [(call, False, near(0.125 if call == "G" else 0.0))]
    began = rig.on("Y").t
    rig.wait(0.06).off("Y").wait(0.5)
    assert rig.moves(began) == []


@pytest.mark.parametrize("event", ["release", "return", "power-up", "any-off"])
def test_restart_keeps_off_until_its_time_and_follows_then(event: str) -> None:
    plain = furnace()
    delayed = replace(
        plain.output("Y"), restart=Restart(frozenset({event}), Interval(29_000_000, 31_000_000))
    )
    rig = Rig(replace(plain, outputs=(delayed, *plain.outputs[1:])))
    if event == "power-up":
        rig.on("Y").gas("clear").wait(0.1)
        began = rig.main(True).t
    else:
        rig.up("Y")
        rig.wait(0 if event == "release" else 40)
        if event == "release":
            rig.leak()
            began = rig.gas("clear").t + 365
            rig.wait(364)
        elif event == "return":
            rig.lose()
            began = rig.gas("clear").t + 5
        else:
            began = rig.off("Y").wait(1).t - 1
            rig.on("Y")
    rig.wait(40)
    assert rig.move("Y", True, began) == near(30 + REACT_F)


def test_an_alarm_contact_closes_after_the_other_has_opened() -> None:
    def contact(name: str, kind: str, words: tuple[str, ...]) -> Output:
        limit = within(250_000)
        return Output(
            name=name, kind=kind, feed="own", call=None, modes=policies(*words),
            follow_on=limit, follow_off=limit, react_on=limit, react_off=limit, trip=None, loss=None,
        )  # fmt: skip

    no = contact("alarm.no", "contact-no", ("off", "off", "off", "on", "on", "on"))
    nc = contact("alarm.nc", "contact-nc", ("on", "on", "on", "off", "off", "off"))
    rig = Rig(replace(furnace(), outputs=(*furnace().outputs, no, nc))).up()
    assert rig.shows() == "alarm.nc"
    since = rig.t
    assert rig.leak().shows() == "Galarm.no"
    assert rig.move("alarm.no", True, since) - rig.move("alarm.nc", False, since) == pytest.approx(
        0.015, abs=0.006
    )
    since = rig.t
    rig.hold().wait(rig.parameters.timing.hold.max_us / 1e6)  # type: ignore[union-attr]
    assert rig.move("alarm.nc", True, since) - rig.move("alarm.no", False, since) == pytest.approx(
        0.015, abs=0.006
    )


# -- light and button ------------------------------------------------------------------------


def flashes(rig: Rig, seconds: float = 6.0) -> int:
    """In the longest group."""
    groups, now, dark, was = [0], 0.0, 0.0, rig.board.light
    while now < seconds:
        light = rig.wait(0.01).board.light
        dark = 0.0 if light else dark + 0.01
        if light and not was:
            groups[-1] += 1
        if dark > 1.0 and groups[-1]:
            groups.append(0)
        was, now = light, now + 0.01
    return max(groups)


def test_the_light_says_the_mode_and_the_button_recalls_and_clears() -> None:
    rig = Rig(furnace()).gas("clear").wait(0.1).main(True).wait(3)
    assert flashes(rig) == 0 and not rig.board.light
    rig = Rig(furnace()).up()
    assert rig.board.light
    assert flashes(rig.leak(), 12) == 5
    assert flashes(rig.hold(), 12) == 2
    rig.wait(380)
    assert flashes(rig, 12) == 0 and rig.board.light
    assert flashes(rig.press(0.2, 0.3, 0.2), 12) == 5
    rig.press(8.2).wait(0.3)
    assert flashes(rig.press(0.2, 0.3, 0.2), 12) == 0


def test_rules_not_stated_get_an_answer() -> None:
    rig = Rig(replace(furnace(), rules=Rules(latching=None))).up("Y").leak().hold()
    assert rig.wait(380).mode is Mode.NORMAL


# -- what runs by chance have shown ----------------------------------------------------------


def test_a_short_that_becomes_an_open_wire_is_one_loss() -> None:
    rig = Rig(furnace()).up("Y")
    began = rig.gas("short").t
    rig.wait(3).gas("open").wait(6)
    assert rig.move("Y", False, began) == near(6.0)


def test_a_loss_crosses_no_level_on_its_way() -> None:
    # Were the leak seen on the way from clear to open, the hold would start afresh.
    rig = Rig(with_rules(furnace(), hold_when_lost="run")).up("Y").leak()
    low = rig.gas("clear").t
    for _ in range(10):
        rig.wait(20).gas("open").wait(1).gas("clear")
    rig.wait(200)
    assert rig.move("Y", True, low) == near(365 + REACT_F)


def test_a_hold_that_waits_for_low_waits_through_a_loss() -> None:
    rules = {"hold_on_band": "pause", "hold_when_lost": "run"}
    rig = Rig(with_rules(furnace(), **rules)).up("Y").leak()
    low = rig.gas("clear").t
    rig.wait(360).gas("between").wait(3).gas("short").wait(30)
    assert rig.mode is Mode.POST_LEAK_HOLD
    back = rig.gas("clear").t
    rig.wait(10)
    assert rig.move("Y", True, back) == near(365 - 360 + REACT_F)
    assert back > low


def test_a_hold_that_must_start_afresh_is_not_resumed_after_a_cut() -> None:
    rules = {"hold_on_band": "pause", "hold_when_lost": "restart", "after_supply_loss": "resume"}
    rig = Rig(with_rules(furnace(), **rules)).up("Y").leak().hold().wait(300).lose()
    came = rig.gas("clear").cut(3).t
    rig.wait(2)
    assert rig.mode is Mode.LEAK_ACTIVE
    rig.wait(370)
    assert rig.move("Y", True, came) > 360


def test_a_hold_over_while_it_is_stopped_by_a_loss_waits_for_the_return() -> None:
    rules = {"hold_on_band": "continue", "hold_when_lost": "pause", "hold_ends_only_when": "low"}
    rig = Rig(with_rules(furnace(), **rules)).up("Y").leak()
    rig.gas("clear").wait(363).gas("short").wait(12)
    back = rig.gas("clear").t
    rig.wait(10)
    assert rig.move("Y", True, back) == near(5 + REACT_F)


def test_what_a_call_has_begun_comes_no_later_than_the_trip_wants_it() -> None:
    plain = furnace()
    slow = replace(plain.output("G"), follow_on=Interval(900_000, 1_100_000))
    rig = Rig(replace(plain, outputs=(*plain.outputs[:2], slow))).up()
    began = rig.gas("leak").t
    rig.wait(3.9).on("G").wait(2)  # a call just before the trip, which then waits for a second
    assert rig.move("G", True, began) == near(4.0)
