"""A profile in a few lines, for `profile list` and the start of a run."""

from __future__ import annotations

from dataclasses import astuple

from bench.profile.model import Profile
from bench.profile.quantities import format_duration, format_lfl
from firmware_ref.parameters import Gesture, Interval, Mode, Sensor


def describe(profile: Profile) -> list[str]:
    """One line for each thing."""
    p = profile.parameters
    lines = [f"calls {', '.join(p.calls)}, fed by the {p.calls_fed_from}; {p.frequency_hz} Hz"]
    for output in p.outputs:
        modes = [mode for mode in Mode if mode is not Mode.SELF_TEST or p.has_self_test]
        does = ", ".join(f"{mode} {_does(output.kind, output.modes[mode].value)}" for mode in modes)
        lines.append(f"output {output.name}: {does}")
    lines += [f"sensor {s.name}: {_sensor(s)}" for s in p.sensors]
    timing = p.timing
    for name, span in (
        ("boot", timing.boot), ("warm-up", timing.warm_up), ("trip", timing.trip), ("clear", timing.clear),
        ("hold", timing.hold), ("loss", timing.loss), ("return", timing.return_), ("ride-through", timing.ride_through),
        *((("self-test", timing.self_test),) if p.has_self_test else ()),
    ):  # fmt: skip
        lines.append(f"{name} {_span(span)}")
    if p.button is not None:
        lines += [f"button, {action}: {said_gesture(g)}" for action, g in p.button.gestures.items()]
    if p.not_stated:
        lines.append(f"not stated, so not judged: {', '.join(p.not_stated)}")
    return lines


def said_gesture(gesture: Gesture) -> str:
    """`3 presses within 3 s`, `a press of at least 8 s`: by the middle of what the board may take."""
    if gesture.press is not None:
        return f"a press of at least {format_duration(gesture.press.middle_us)}"
    if gesture.within is None:
        return "a press"
    return f"{gesture.presses} presses within {format_duration(gesture.within.middle_us)}"


def _does(kind: str, policy: str) -> str:
    return policy if kind == "ac" else {"on": "closed", "off": "open"}.get(policy, policy)


def _span(span: Interval | None) -> str:
    if span is None:
        return "not stated"
    if span.min_us == 0:
        return f"within {format_duration(span.max_us)}"
    return f"{format_duration(span.min_us)} to {format_duration(span.max_us)}"


def _sensor(sensor: Sensor) -> str:
    if sensor.trip is None or sensor.clear is None:
        contact = f", {sensor.leak_when} on a leak" if sensor.kind in ("contact", "trouble-contact") else ""
        trouble = f", trouble contact {sensor.trouble_when} in trouble" if sensor.trouble_when else ""
        return f"{sensor.kind}{contact}{trouble}"
    trip, clear = (
        " to ".join(format_lfl(v) for v in sorted(map(sensor.level_at, astuple(sensor.at_nominal(b)))))
        for b in (sensor.trip, sensor.clear)
    )
    return f"{sensor.kind}, trips at {trip}, clears at {clear}"
