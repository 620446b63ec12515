"""What a profile says reaches the parameters; what it leaves out gets the documented default."""

from __future__ import annotations

from typing import Any

from bench.profile import describe
from firmware_ref.parameters import Band, Interval, Mode, Policy, Restart
from tests.profile.altered import GONE, data, profile
from tests.profile.test_checks import ALARM, LIGHT, PLAIN, SECOND

MS, S, MIN = 1_000, 1_000_000, 60_000_000


def test_react_defaults_to_the_follow_limits_from_0() -> None:
    y = profile(
        changes={"outputs.Y.follow": {"on": {"between": ["50 ms", "300 ms"]}, "off": {"within": "1 s"}}}
    ).parameters.output("Y")
    assert (y.follow_on, y.follow_off) == (Interval(50 * MS, 300 * MS), Interval(0, S))
    assert (y.react_on, y.react_off) == (Interval(0, 300 * MS), Interval(0, S))


def test_react_of_the_output_goes_before_that_of_the_board() -> None:
    changes = {
        "timing.react": {"within": "2 s"},
        "outputs.W.react": {"on": {"within": "3 s"}, "off": {"within": "4 s"}},
    }
    p = profile(changes=changes).parameters
    assert (p.output("Y").react_on, p.output("Y").react_off) == (Interval(0, 2 * S), Interval(0, 2 * S))
    assert (p.output("W").react_on, p.output("W").react_off) == (Interval(0, 3 * S), Interval(0, 4 * S))
    assert p.output("Y").follow_on == Interval(0, 250 * MS)


def test_y_and_w_off_g_on_is_the_default_under_mitigation() -> None:
    gone = {f"outputs.{o}.modes.{m}": GONE for o in "YWG" for m in ("leak-active", "post-leak-hold")}
    assert profile(changes=gone).parameters == profile().parameters


def test_an_output_may_have_totals_of_its_own() -> None:
    p = profile(changes={"outputs.G.trip": {"within": "1 s"}, "outputs.G.loss": "not stated"}).parameters
    assert (p.output("G").trip, p.output("G").loss) == (Interval(0, S), None)
    assert p.output("Y").trip == Interval(2 * S, 6 * S)
    assert p.not_stated == ("outputs.G.loss",)


def test_restart() -> None:
    restart = {"after": ["release", "power-up"], "delay": {"nominal": "4 min", "tolerance": "10 s"}}
    y = profile(changes={"outputs.Y.restart": restart}).parameters.output("Y")
    assert y.restart == Restart(
        frozenset({"release", "power-up"}), Interval(4 * MIN - 10 * S, 4 * MIN + 10 * S)
    )


def test_an_alarm_contact_is_on_when_closed() -> None:
    shown = profile(changes={"outputs.alarm/no": ALARM})
    alarm = shown.parameters.output("alarm.no")
    assert (alarm.kind, alarm.feed, alarm.call) == ("contact-no", "own", None)
    assert alarm.modes[Mode.NORMAL] is Policy.OFF
    assert alarm.modes[Mode.LEAK_ACTIVE] is Policy.ON
    assert alarm.react_on == alarm.follow_on == Interval(0, S)
    assert shown.wiring["alarm.no"] == 27
    assert "alarm.no" not in " ".join(shown.parameters.must_prove)
    assert any("leak-active closed" in line for line in describe(shown))


def test_a_signal_may_fall_with_gas() -> None:
    changes = {"sensors.1.points": {"100 %LFL": "0.5 V", "0 %LFL": "4.5 V"}}
    (sensor,) = profile(changes=changes).parameters.sensors
    assert not sensor.rising
    assert sensor.trip == Band(3_700_000, 3_860_000)
    assert sensor.clear == Band(4_020_000, 4_180_000)


def test_levels_in_volts_are_the_same_bands() -> None:
    changes = {
        "sensors.1.trip": {"between": ["1.14 V", "1300 mV"]},
        "sensors.1.clear": {"nominal": "0.9 V", "tolerance": "80 mV"},
    }
    assert profile(changes=changes).parameters == profile().parameters


def test_all_that_may_be_left_out() -> None:
    changes = {
        "rules": GONE,
        "decision": GONE,
        "about": GONE,
        "sensors.1.max": GONE,
        "sensors.1.ratiometric": GONE,
        "sensors.1.load": GONE,
    }
    p = profile(changes=changes).parameters
    assert p.decision == "guarded"
    assert p.timing.settle_us == 100 * MS
    assert (p.sensors[0].max_uv, p.sensors[0].supply, p.sensors[0].load_uv) == (5_000_000, None, None)
    rules = p.rules
    assert (rules.lost_when, rules.after_fault, rules.check_before_normal) == ("any", "normal", False)
    assert (rules.hold_on_band, rules.hold_when_lost, rules.latching, rules.after_supply_loss) == (None,) * 4
    assert p.not_stated == (
        "sensors.1.load",
        "rules.hold_on_band",
        "rules.hold_when_lost",
        "rules.latching",
        "rules.after_supply_loss",
        "rules.backfeed",
    )


def test_not_stated_is_said_and_not_judged() -> None:
    p = profile(
        changes={"timing.hold": "not stated", "timing.loss": "not stated", "rules.latching": "not stated"}
    ).parameters
    assert (p.timing.hold, p.timing.loss, p.rules.latching, p.output("Y").loss) == (None, None, None, None)
    assert p.not_stated == ("timing.hold", "timing.loss", "rules.latching")


def test_a_board_without_heat_or_loss_need_not_prove_them() -> None:
    changes: dict[str, Any] = {
        **PLAIN,
        "calls": ["Y", "G"],
        "outputs.W": GONE,
        "outputs.Y.modes.sensor-fault": GONE,
    }
    p = profile(changes=changes).parameters
    assert p.must_prove == (
        "follow:Y",
        "follow:G",
        "trip:Y",
        "trip:G",
        "blocked:Y",
        "forced:G",
        "hold",
        "re-leak",
    )
    assert p.rules.latching is False
    assert p.output("Y").modes[Mode.SENSOR_FAULT] is Policy.FOLLOW
    assert p.not_stated == ("rules.after_supply_loss", "rules.backfeed")


def test_an_output_that_mitigation_leaves_alone_need_only_follow() -> None:
    modes = {**SECOND["modes"], "leak-active": "follow", "post-leak-hold": "follow"}  # type: ignore[dict-item]
    p = profile(changes={"calls": ["Y", "W", "G", "O"], "outputs.O": {**SECOND, "modes": modes}}).parameters
    assert [proof for proof in p.must_prove if proof.endswith(":O")] == ["follow:O"]


def test_what_must_be_proven_can_be_said() -> None:
    assert profile(changes={"must_prove": ["hold", "trip:Y"]}).parameters.must_prove == ("hold", "trip:Y")


def test_wiring_is_the_channel_of_the_same_name_unless_written() -> None:
    wiring = profile(changes={"wiring": {"out.Y": 25}, "supply.calls_fed_from": "board"}).wiring
    assert wiring == {
        "call.Y": 3, "call.W": 4, "call.G": 5, "out.Y": 25, "out.W": 18, "out.G": 19, "sensor.1": 30,
        "main": 1, "board": 2, "sense.main": 14, "sense.board": 15, "sense.r-out": 16,
    }  # fmt: skip


def test_the_hash_is_of_what_is_said_not_of_the_order() -> None:
    first = profile()
    turned = dict(reversed(list(data().items())))
    from bench.profile import from_data

    assert from_data(turned, "x").sha256 == first.sha256
    assert profile(changes={"timing.glitch": "31 ms"}).sha256 != first.sha256


def test_a_light() -> None:
    light = profile(changes={"light": LIGHT}).parameters.light
    assert light is not None
    assert light.codes == {
        Mode.UNPOWERED: "dark",
        Mode.START_UP: "dark",
        Mode.NORMAL: "steady",
        Mode.LEAK_ACTIVE: "5 flashes",
        Mode.POST_LEAK_HOLD: "2 flashes",
        Mode.SENSOR_FAULT: "4 flashes",
    }
    assert (light.on, light.latency, light.seen) == (
        Interval(250 * MS, 350 * MS),
        Interval(0, 5 * S),
        "optical",
    )
    assert profile().parameters.light is None


def test_what_the_maker_does_not_say_of_a_light() -> None:
    changes = {
        "light": LIGHT,
        "light.latency": "not stated",
        "light.flash.off": "not stated",
        "light.modes.start-up": "not stated",
    }
    p = profile(changes=changes).parameters
    assert p.light is not None
    assert (p.light.codes[Mode.START_UP], p.light.off, p.light.latency) == (None, None, None)
    assert p.not_stated == ("light.modes.start-up", "light.flash.off", "light.latency")


def test_the_light_is_wired_where_there_is_one() -> None:
    assert profile(changes={"light": LIGHT}).wiring["light"] == 29
    assert (
        profile(changes={"light": {**LIGHT, "seen": "lamp"}, "wiring": {"light": 26}}).wiring["light"] == 26
    )
    assert "light" not in profile().wiring
