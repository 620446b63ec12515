"""Keys that do not fit together, each alone."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from bench.profile import check
from tests.profile.altered import GONE, data, mistakes

SECOND = {"kind": "ac", "feed": "call", "follow": {"within": "250 ms"},
          "modes": {"unpowered": "off", "start-up": "off", "normal": "follow", "leak-active": "off",
                    "post-leak-hold": "off", "sensor-fault": "off"}}  # fmt: skip
ALARM = {"kind": "contact-no", "feed": "own", "react": {"within": "1 s"},
         "modes": {"unpowered": "open", "start-up": "open", "normal": "open", "leak-active": "closed",
                   "post-leak-hold": "closed", "sensor-fault": "closed"}}  # fmt: skip
LIGHT: dict[str, Any] = {
    "modes": {"normal": "steady", "leak-active": "5 flashes", "post-leak-hold": "2 flashes", "sensor-fault": "4 flashes"},
    "flash": {"on": {"nominal": "300 ms", "tolerance": "50 ms"}, "off": {"nominal": "300 ms", "tolerance": "50 ms"},
              "pause": {"nominal": "1.5 s", "tolerance": "200 ms"}},
    "latency": {"within": "5 s"}}  # fmt: skip
PLAIN: dict[str, Any] = {"sensors": {"1": {"kind": "contact"}}, "timing.loss": GONE, "timing.return": GONE,
         "rules": {"hold_on_band": "restart"}}  # fmt: skip


def without(form: dict[str, Any], key: str) -> dict[str, Any]:
    return {k: v for k, v in form.items() if k != key}


@pytest.mark.parametrize(
    ("changes", "starts", "says"),
    [
        ({"outputs.Y.modes.sensor-fault": "on"}, "outputs.Y.modes.sensor-fault: is on", "write feed: supply"),
        ({"outputs.G.feed": "call", "outputs.G.modes.leak-active": GONE, "outputs.G.modes.post-leak-hold": "off",
          "outputs.G.modes.sensor-fault": "off"},
         "outputs.G.feed: is on in leak-active", "write feed: supply"),
        ({"outputs.Y.modes.normal": "open"}, "outputs.Y.modes.normal: is open", "takes follow, off or on"),
        ({"outputs.Y.feed": "own"}, "outputs.Y.feed: is own", "call or supply"),
        ({"outputs.Y.call": "X"}, "outputs.Y.call: is X", "none of the calls (Y, W, G)"),
        ({"outputs.Y2": SECOND}, "outputs.Y2.call: is missing", "name one of Y, W, G"),
        ({"outputs.Y.follow": GONE}, "outputs.Y.follow: is missing", "{within: 250 ms}"),
        ({"outputs.Y.follow": "not stated"}, "outputs.Y.follow: cannot be not stated", "how long you would wait"),
        ({"outputs.Y.react": {"between": ["1 s", "2 s"]}}, "outputs.Y.react: cannot have a shortest", "{within: 2 s}"),
        ({"outputs.Y.follow": {"between": ["50 ms", "250 ms"]}}, "outputs.Y.follow: has a shortest time of 50 ms",
         "off: {within: 250 ms}"),
        ({"outputs.Y.follow": {"on": {"within": "1 s"}, "off": {"nominal": "300 ms", "tolerance": "100 ms"}}},
         "outputs.Y.follow.off: has a shortest time of 200 ms", "or feed: supply"),
        ({"timing.react": {"on": {"within": "1 s"}, "off": {"nominal": "1 s", "tolerance": "100 ms"}}},
         "timing.react.off: cannot have a shortest", "{within: 1.1 s}"),
        ({"outputs.Y.modes.sensor-fault": GONE}, "outputs.Y.modes.sensor-fault: is missing", "follow, off or on"),
        ({"outputs.Y2": {**SECOND, "call": "Y", "modes": without(SECOND["modes"], "leak-active")}},  # type: ignore[arg-type]
         "outputs.Y2.modes.leak-active: is missing", "follow, off or on"),
        ({"outputs.Y.restart": {"after": [], "delay": {"within": "5 min"}}}, "outputs.Y.restart.after: has 0", "at least 1"),
        ({"outputs.alarm/no": {**ALARM, "kind": "contact-nc"}}, "outputs.alarm.no: is a contact-nc", "call it alarm.nc"),
        ({"outputs.alarm/nc": {**SECOND, "call": "Y"}}, "outputs.alarm.nc.kind: is ac", "write contact-nc"),
        ({"outputs.alarm/no": {**ALARM, "feed": "supply"}}, "outputs.alarm.no.feed: is supply", "write own"),
        ({"outputs.alarm/no": {**ALARM, "call": "Y"}}, "outputs.alarm.no.call: does not fit", "remove it"),
        ({"outputs.alarm/no": without(ALARM, "react")}, "outputs.alarm.no.react: is missing", "{within: 1 s}"),
        ({"outputs.alarm/no": {**ALARM, "modes": {**ALARM["modes"], "normal": "off"}}},  # type: ignore[dict-item]
         "outputs.alarm.no.modes.normal: is off", "open or closed"),
        ({"outputs.Relay 1": SECOND}, "outputs.Relay 1: is Relay 1, which is no such name", "letters and digits"),
        ({"outputs": {}}, "outputs: has 0", "at least 1"),
        ({"calls": ["Y", "W", "G", "W"]}, "calls[3]: W stands twice", "keep only one"),
        ({"sensors.1.points": {"0 %LFL": "0.5 V"}}, "sensors.1.points: has 1", "at least 2"),
        ({"sensors.1.points": {"0 %LFL": "0.5 V", "50 %LFL": "3 V", "100 %LFL": "2 V"}}, "sensors.1.points: must rise", "correct"),
        ({"sensors.1.points": {"0 %LFL": "0.5 V", "100 %LFL": "5.5 V"}}, "sensors.1.points.100 %LFL: is above max", "5 V"),
        ({"sensors.1.points": {"0": "0.5 V", "100 %LFL": "4.5 V"}}, "sensors.1.points.0: is 0, a bare number", "%LFL"),
        ({"sensors.1.clear.nominal": "15 %LFL"}, "sensors.1.clear: with its tolerance reaches", "lower clear"),
        ({"sensors.1.clear.nominal": "14 %LFL"}, "sensors.1.clear: with its tolerance reaches", "lower clear"),
        ({"sensors.1.trip": {"between": ["99 %LFL", "99.5 %LFL"]}, "sensors.1.max": "4 V"},
         "sensors.1.points.100 %LFL: is above max", "4 V"),
        ({"sensors.1.trip": {"nominal": "1.2 V", "tolerance": "2 %LFL"}}, "sensors.1.trip: nominal and tolerance", "both in volts"),
        ({"sensors.1.trip": "not stated"}, "sensors.1.trip: cannot be not stated", ""),
        ({"sensors.1.trip": {"between": ["95 %LFL", "99 %LFL"]},
          "sensors.1.points": {"0 %LFL": "0.5 V", "50 %LFL": "4.9 V", "60 %LFL": "5 V"}},
         "sensors.1.trip: is 5.35 V to 5.39 V at the terminal", "outside 0 V to 5 V"),
        ({"sensors.1.trip": {"nominal": "99 %LFL", "tolerance": "2 %LFL"}}, "sensors.1.trip: reaches above 100 %LFL", ""),
        ({"sensors.1.trip": GONE}, "sensors.1.trip: is missing", "{nominal: 18 %LFL"),
        ({"sensors.1.lost_by": GONE}, "sensors.1.lost_by: is missing", "[open, short]"),
        ({"sensors.1": {"kind": "supervised", "lost_by": ["open"], "points": {"0 %LFL": "0 V", "9 %LFL": "1 V"}}}, "sensors.1.points: does not fit a supervised sensor", "kind: analog"),
        ({"sensors.1": {"kind": "contact", "lost_by": ["open"]}}, "sensors.1.lost_by: does not fit", "cannot be lost"),
        ({"light": without(LIGHT, "flash")}, "light.flash: is missing", "flashes in leak-active"),
        ({"light": without(LIGHT, "latency")}, "light.latency: is missing", "begins to show it"),
        ({"light": {**LIGHT, "modes": without(LIGHT["modes"], "sensor-fault")}}, "light.modes.sensor-fault: is missing", "shows then"),
        ({**PLAIN, "light": LIGHT}, "light.modes.sensor-fault: does not fit", "a plain contact cannot"),
        ({"light": {**LIGHT, "flash": {**LIGHT["flash"], "pause": {"within": "450 ms"}}}},
         "light.flash.pause: may be as short as 0 s", "100 ms or more"),
        ({"light": {**LIGHT, "flash": {**LIGHT["flash"], "pause": {"between": ["450 ms", "1 s"]}}}},
         "light.flash.pause: may be as short as 450 ms, too near the gap of up to 350 ms", "at least 525 ms"),
        ({"light": {**LIGHT, "flash": {**LIGHT["flash"], "on": {"between": ["80 ms", "1 s"]}}}},
         "light.flash.on: may be as short as 80 ms", "glitch"),
        ({"must_prove": ["light"]}, "must_prove[0]: light cannot be shown", "write light"),
        ({"must_prove": ["contact"]}, "must_prove[0]: contact cannot be shown", "both alarm.no and alarm.nc"),
        ({"sensors.1": {"kind": "trouble-contact"}}, "sensors.1.lost_by: is missing", "as in [trouble]"),
        ({"sensors.1": {"kind": "trouble-contact", "lost_by": ["open"]}}, "sensors.1.lost_by[0]: open does not fit",
         "write [trouble]"),
        ({"sensors.1": {"kind": "supervised", "lost_by": ["open", "trouble"]}},
         "sensors.1.lost_by[1]: trouble does not fit a supervised sensor", "open and short only"),
        ({"sensors.1": {"kind": "supervised", "lost_by": ["open"], "leak_when": "open"}},
         "sensors.1.leak_when: does not fit", "no plain contact"),
        ({"sensors.1.trouble_when": "open"}, "sensors.1.trouble_when: does not fit an analog", "trouble-contact"),
        ({**PLAIN, "timing.loss": {"within": "5 s"}}, "timing.loss: does not fit", "a plain contact cannot"),
        ({**PLAIN, "timing.return": {"within": "5 s"}}, "timing.return: does not fit", "a plain contact cannot"),
        ({**PLAIN, "outputs.Y.loss": {"within": "5 s"}}, "outputs.Y.loss: does not fit", "a plain contact cannot"),
        ({**PLAIN, "rules": {"latching": True}}, "rules.latching: does not fit", "a plain contact cannot"),
        ({**PLAIN, "must_prove": ["loss"]}, "must_prove[0]: loss cannot be shown", "remove it"),
        ({"timing.loss": GONE}, "timing.loss: is missing, though a sensor can be lost", "not stated"),
        ({"timing.warm_up": {"within": "500 ms"}}, "timing.warm_up: ends before boot (1 s)", "longer warm_up"),
        ({"timing.boot": "not stated"}, "timing.boot: cannot be not stated", "how long you would wait"),
        ({"timing.warm_up": "not stated"}, "timing.warm_up: cannot be not stated", "how long you would wait"),
        ({"timing.glitch": "not stated"}, "timing.glitch: cannot be not stated", "that you would overlook"),
        ({"outputs.Y.modes.sensor-fault": "not stated"}, "outputs.Y.modes.sensor-fault: cannot be not stated", "write follow, off or on"),
        ({"timing.hold": {"nominal": "5 min", "tolerance": "not stated"}}, "timing.hold.tolerance: cannot be", "still accept"),
        ({"sensors.1.ratiometric": True, "sensors.1.sensor_supply": {"nominal": "5 V", "tolerance": "not stated"}},
         "sensors.1.sensor_supply.tolerance: cannot be not stated", "measure at the board"),
        ({"sensors.1.lost_by": ["out_of_range"], "sensors.1.out_of_range": {"above": "4.75 V"}},
         "sensors.1.out_of_range.above: is 4.75 V", "write {nominal: 4.75 V, tolerance: 50 mV}"),
        ({"sensors.1.lost_by": ["out_of_range"], "sensors.1.out_of_range": {}}, "sensors.1.out_of_range: names no limit", "below"),
        ({"button": {"press": {"between": ["30 ms", "150 ms"]}, "acts": {"within": "1 s"}, "clear_faults": {"press": "5 s"}}},
         "button.clear_faults.press: is 5 s", "{nominal: 6 min, tolerance: 5 s}"),
        ({"timing.glitch": {"within": "30 ms"}}, "timing.glitch: must be a number with a unit", ""),
        ({"timing.hold": {"nominal": "5 s", "tolerance": "6 s"}}, "timing.hold: the tolerance is larger", "{within: 11 s}"),
        ({"timing.hold": {"nominal": "5 min", "tolerance": "1 s", "within": "6 min"}}, "timing.hold.within: is not known", "remove it"),
        ({"timing.hold": {"between": ["5 min"]}}, "timing.hold.between: has 1", "at least 2"),
        ({"rules.latching": True}, "rules.reset: is missing", "{supply_off: 10 s}"),
        ({"rules.reset": {"supply_off": "10 s"}}, "rules.reset: does not fit latching: false", "latching: true"),
        ({"rules.latching": True, "rules.reset": {"supply_off": "200 ms"}}, "rules.reset.supply_off: is 200 ms", "more than ride_through"),
        ({"must_prove": ["hold", "hold"]}, "must_prove[1]: hold stands twice", "keep only one"),
        ({"must_prove": ["trip"]}, "must_prove[0]: trip needs an output", "trip:Y"),
        ({"name": None}, "name: is empty", "text"),
        ({"name": "two words"}, "name: is two words, which is no such name", "single hyphens"),
        ({"about": 5}, "about: is 5", "text"),
        ({"timing": "soon"}, "timing: is soon", "key: value pairs"),
        ({"dampers": {}}, "dampers: is not known", "remove it"),
        ({"sensors.1.scales": {}}, "sensors.1.scales: is not known", "remove it"),
    ],
)  # fmt: skip
def test_what_does_not_fit_is_one_mistake(changes: dict[str, Any], starts: str, says: str) -> None:
    (line,) = mistakes(changes=changes)
    assert line.startswith(starts)
    assert says in line


@pytest.mark.parametrize(
    "changes",
    [
        {"outputs.Y2": {**SECOND, "call": "Y"}},
        {"outputs.alarm/no": ALARM},
        {"outputs.Y.restart": {"after": ["release", "any-off"], "delay": {"between": ["3 min", "5 min"]}}},
        {"sensors.1.trip": {"between": ["1.14 V", "1.3 V"]}, "sensors.1.clear": {"nominal": "900 mV", "tolerance": "80 mV"}},
        {"sensors.1.lost_by": []  , "timing.loss": GONE, "timing.return": GONE, "rules": GONE},
        {"timing.hold": "not stated", "timing.trip": "not stated", "timing.ride_through": "not stated"},
        {"rules": GONE, "decision": GONE, "about": GONE},
        {"rules.latching": True, "rules.reset": "not stated"},
        {"must_prove": ["hold", "trip:Y", "loss"]},
        {"wiring": {"sense.r-out": 16}},
        PLAIN,
    ],
)  # fmt: skip
def test_what_fits_is_no_mistake(changes: dict[str, Any]) -> None:
    assert mistakes(changes=changes) == []


def write(folder: Path, changes: dict[str, Any]) -> str:
    """As JSON, which is YAML: every key on one line."""
    import json

    file = folder / "board.yaml"
    file.write_text(json.dumps({**data(changes=changes), "name": "board"}), "utf-8")
    return str(file)


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"wiring": {"out.Y": 18}}, ["wiring.out.W: is channel 18, as is out.Y; give each its own"]),
        ({"wiring": {"out.Y": 3}}, [
            "wiring.out.Y: is 3, which is call.Y, of another kind; write one of 17, 18, 19, 20, 21, 22, 23, 24, 25, 26",
            "wiring.call.Y: is channel 3, as is out.Y; give each its own"]),
        ({"wiring": {"out.Y": 99}}, [
            "wiring.out.Y: is 99, and the fixture has no such channel; write one of 17, 18, 19, 20, 21, 22, 23, 24, 25, 26"]),
        ({"light": {**LIGHT, "seen": "lamp"}}, [
            "wiring.light: is missing: a lamp is seen on a channel of an output; write one of 17, 18, 19, 20, 21, 22, 23, 24, 25, 26"]),
        ({"light": {**LIGHT, "seen": "lamp"}, "wiring": {"light": 29}}, [
            "wiring.light: is 29, which is light, of another kind; write one of 17, 18, 19, 20, 21, 22, 23, 24, 25, 26"]),
        ({"light": LIGHT, "wiring": {"light": 24}}, [
            "wiring.light: is 24, which is out.E, of another kind; write one of 29"]),
        ({"wiring": {"light": 29}}, ["wiring.light: is no terminal of this board; remove it"]),
        ({"wiring": {"out.Z": 20}}, ["wiring.out.Z: is no terminal of this board; did you mean out.Y?"]),
        ({"outputs.Y3": {**SECOND, "call": "Y"}}, [
            "wiring.out.Y3: is missing: the fixture has no channel of this name; write the number of one"]),
        ({"sensors.1.max": "10 V", "sensors.1.points": {"0 %LFL": "0 V", "100 %LFL": "10 V"},
          "sensors.1.trip": {"between": ["5.1 V", "6 V"]}},
         ["sensors.1.trip: is up to 6 V at the terminal, above the 5 V of the fixture's channel 30; "
          "such a board cannot be tested here"]),
    ],
)  # fmt: skip
def test_wiring_is_held_to_the_channel_table(
    tmp_path: Path, changes: dict[str, Any], says: list[str]
) -> None:
    file = write(tmp_path, changes)
    assert check(file).errors == [f"{file}:1: {line}" for line in says]


def test_spare_channels_can_be_wired(tmp_path: Path) -> None:
    changes = {"outputs.Y3": {**SECOND, "call": "Y"}, "wiring": {"out.Y3": 25, "sensor.1": 31}}
    assert check(write(tmp_path, changes)).errors == []
