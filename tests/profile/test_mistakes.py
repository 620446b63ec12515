"""All mistakes of a file at once: file, line, key, what is wrong, what to write."""

from __future__ import annotations

from pathlib import Path

import pytest

from bench.errors import ProfileError
from bench.profile import check, load

BAD = """\
format: mitbench-profile-2
name: other
supply: {frequency: 60, calls_fed_from: bank}
calls: [Y, W, G, Y]
outputs:
  Y:
    kind: ac
    feed: call
    folow: {on: {within: 250 ms}, off: {within: 250 ms}}
    modes: {unpowered: off, start-up: of, normal: follow, leak_active: off, sensor-fault: on}
  W: {kind: ac, feed: call, follow: {on: {within: 250}, off: not stated}, modes: {unpowered: off, start-up: off, normal: follow, sensor-fault: off}}
  G: nothing
sensors:
  1: {kind: analog, points: {0 %LFL: 0.5 V, 0.0 %LFL: 1 V}, trip: {nominal: 18, tolerance: 2 %LFL}, clear: {nominal: 10 %LFL, tolerance: 20 mV}, lost-by: [open, short]}
  2: {kind: contact, lost_by: [open]}
timing:
  boot: not stated
  warm_up: {nominal: 12:30:00, tolerance: 010}
  trip: {between: [6 s, 2 s]}
  clear: {nominl: 5 s, tolerance: 2 s}
  hold: 6 min
  hold: 7 min
  glitch: 30 msec
  light: 5 s
rules:
  latching: yes
  reset: {supply_off: -3 s}
  hold_on_band: restrat
must_prove: [hold, hld, "trip:Q", follow]
wiring: {call.Y: 17, call.y: 3, out.W: 18, out.G: 19, out.Q: 20, main: 999, board: 2}
light:
  seen: by eye
  modes: {normal: on, leak-active: 21 flashes, post-leak-hold: 2 flashes, start_up: dark}
  flash: {on: {within: 300 ms}, off: 300, pause: {nominal: 400 ms, tolerance: 20 ms}}
lamp: {}
"""

EXPECTED = """\
1: format: is mitbench-profile-2, which is not known; did you mean mitbench-profile-1?
2: name: is other, but the file is bad.yaml; write name: bad, or rename the file
3: supply.frequency: is 60, which is not known; write 60 Hz or 50 Hz
3: supply.calls_fed_from: is bank, which is not known; write bench or board
4: calls[3]: Y stands twice; keep only one
9: outputs.Y.folow: is not known; did you mean follow?
10: outputs.Y.modes.start-up: is of, which is not known; did you mean off?
10: outputs.Y.modes.leak_active: is not known; did you mean leak-active?
10: outputs.Y.modes.sensor-fault: is on in sensor-fault, but with feed: call it is on only while its call is; \
write feed: supply
11: outputs.W.follow.on.within: is 250, a bare number; add the unit (us, ms, s, min or h), \
for example 6 min, 1.5 s or 250 ms
11: outputs.W.follow.off: cannot be not stated; write how long you would wait, as the other times are written
12: outputs.G: is nothing; write key: value pairs
14: sensors.1.trip.nominal: is 18, a bare number; add the unit (%LFL, ppm, mV or V), for example 18 %LFL or 1.8 V
14: sensors.1.clear: nominal and tolerance have different kinds of unit; write both in %LFL or both in volts
14: sensors.1.lost-by: is not known; did you mean lost_by?
14: sensors.1.points: has one level twice; keep only one
15: sensors.2.lost_by: does not fit: a plain contact cannot be lost; remove it, or write kind: supervised, or trouble-contact
16: timing.ride_through: is missing; write it (how long a gap of supply the board bridges)
16: timing.loss: is missing, though a sensor can be lost; write how long the board needs to notice a lost sensor, \
or not stated
16: timing.return: is missing, though a sensor can be lost; write how long the sensor must be good again, or not stated
17: timing.boot: cannot be not stated; write how long you would wait, as the other times are written
18: timing.warm_up.nominal: is '12:30:00', which is no number with a unit; write for example 6 min, 1.5 s or 250 ms
18: timing.warm_up.tolerance: is 10, a bare number; add the unit (us, ms, s, min or h), \
for example 6 min, 1.5 s or 250 ms
19: timing.trip: the shortest time is above the longest; write {between: [2 s, 6 s]}
20: timing.clear.nominl: is not known; did you mean nominal?
22: timing.hold: stands twice (first in line 21); keep only one
23: timing.glitch: has the unit 'msec'; the units here are us, ms, s, min or h, as in 6 min, 1.5 s or 250 ms
24: timing.light: is not known; remove it (the keys here are boot, warm_up, react, trip, clear, hold, loss, return, \
ride_through, glitch, self_test, settle)
26: rules.latching: is yes; write true or false
27: rules.reset.supply_off: is -3 s, less than 0; write 0 or more
28: rules.hold_on_band: is restrat, which is not known; did you mean restart?
29: must_prove[1]: hld is no requirement; did you mean hold?
29: must_prove[2]: trip:Q names no output of this board; the outputs are Y, W
29: must_prove[3]: follow needs an output, as in follow:Y
30: wiring.call.Y: is 17, which is out.Y, of another kind; write one of 3, 4, 5, 6, 7, 8, 9, 10, 11, 12
30: wiring.call.y: is no terminal of this board; did you mean call.Y?
30: wiring.out.Q: is no terminal of this board; did you mean out.Y?
30: wiring.main: is 999, and the fixture has no such channel; write one of 1, 2
30: wiring.out.Y: is channel 17, as is call.Y; give each its own
31: light.latency: is missing; write it (from a change of mode until the light begins to show it)
32: light.seen: is by eye, which is not known; write optical or lamp
33: light.modes.normal: is on, which is no code; write dark, steady, 1 flash or, as in 5 flashes, 2 to 20
33: light.modes.leak-active: is 21 flashes, which is no code; write dark, steady, 1 flash or, as in 5 flashes, 2 to 20
33: light.modes.start_up: is not known; did you mean start-up?
33: light.modes.sensor-fault: is missing, though a sensor can be lost; write what the light shows then
34: light.flash.off: is 300; write {nominal: 6 min, tolerance: 5 s}, {within: 250 ms} or {between: [2 s, 6 s]}, \
or not stated
34: light.flash.on: may be as short as 0 s; write 100 ms or more, for what is shorter cannot be told from a glitch
35: lamp: is not known; remove it (the keys here are format, name, about, supply, calls, outputs, refrigerant, \
sensors, timing, light, rules, button, must_prove, decision, wiring)
"""


def test_every_mistake_of_a_file_is_named_in_order(tmp_path: Path) -> None:
    file = tmp_path / "bad.yaml"
    file.write_text(BAD, "utf-8")
    report = check(str(file))
    assert [line.removeprefix(f"{file}:") for line in report.errors] == EXPECTED.splitlines()
    assert report.warnings == []


def test_load_raises_the_same_lines(tmp_path: Path) -> None:
    file = tmp_path / "bad.yaml"
    file.write_text(BAD, "utf-8")
    with pytest.raises(ProfileError) as raised:
        load(str(file))
    assert str(raised.value).split("\n") == check(str(file)).errors


@pytest.mark.parametrize(
    ("text", "says"),
    [("", "1: a profile is a mapping; begin with format: mitbench-profile-1"),
     ("- a\n", "1: a profile is a mapping; begin with format: mitbench-profile-1"),
     ("a: [\n", "2: cannot be read as YAML")],
)  # fmt: skip
def test_a_file_that_is_no_profile(tmp_path: Path, text: str, says: str) -> None:
    file = tmp_path / "a.yaml"
    file.write_text(text, "utf-8")
    (line,) = check(str(file)).errors
    assert line.startswith(f"{file}:{says}")


def test_a_name_that_nobody_knows(tmp_path: Path) -> None:
    with pytest.raises(ProfileError, match="did you mean invented-split-furnace"):
        load("invented-split-furnac")
    with pytest.raises(ProfileError, match="is a folder"):
        load(str(tmp_path))
    assert "no such profile" in check(str(tmp_path / "none.yaml")).errors[0]
