"""The parameter image of the reference board: what a profile says, as the bytes that its firmware reads.

The firmware takes the middle of every interval (the nominal value, where the
tolerance is even), counted at the board's terminals: what its relays and its
sensor filter take is taken off here.  A figure or a rule that the profile does
not state gets one of our own.  What the board's hardware cannot carry is
refused in one sentence.
"""

from __future__ import annotations

import struct
from collections.abc import Mapping, Sequence

from firmware_ref.parameters import (
    ACTIONS,
    DARK,
    STEADY,
    Band,
    Button,
    Gesture,
    Interval,
    Light,
    Mode,
    Output,
    Parameters,
    Policy,
    Sensor,
    flashes,
)

VERSION = 6
#: Places of the relays in the image: eight that switch 24 VAC, then the two of the alarm.
RELAYS = ("Y", "W", "G", "O", "B", "Y2", "W2", "E")
CALLS = RELAYS
ALARM = ("alarm.no", "alarm.nc")
NO_CALL = 0xFF
SENSORS = ("1", "2")

#: Properties of this (invented) board.
RELAY_MS = 7
FILTER_MS = 5
START_MS = 5
#: One alarm contact is told to close so long after the other was told to open.
OPEN_AFTER_MS = 15
#: A call is known to be there after three half cycles, gone after 25 ms; then the relay moves.
SHORTEST_FOLLOW_MS = 40
#: The supply is known to be gone after a whole cycle without a pulse.
SHORTEST_RIDE_MS = 30
#: Its electronics live at least 15 s on their capacitor.
LONGEST_RESET_MS = 12_000
#: The end-of-line divider: 10 kohm from 5 V; 10 kohm at the contact is normal, 3.3 kohm a leak.
CONTACT_LEAK_MV, CONTACT_SHORT_MV, CONTACT_OPEN_MV = 1_850, 600, 3_750
SUPPLY_MV = 5_000
#: A wire that is off or shorted reads this near the ends of the range, whatever pulls at it.
ROOM_MV = 100

#: Where the profile states nothing; ours.
#: The bus: how often it asks, and how much longer than question and answer take it waits for an answer.
POLL_MS, PATIENCE_MS = 200, 60
_RATES = (2_400, 4_800, 9_600, 19_200, 38_400)
_PARITIES = ("none", "even", "odd")
_LOST_BY = ("silent", "bad-crc", "exception")
CHARACTER_BITS = 11

NOT_STATED_MS = {
    "trip": 3_000,
    "clear": 5_000,
    "hold": 330_000,
    "loss": 5_000,
    "return": 5_000,
    "ride-through": 100,
    "self-test": 30_000,
}

_MODES = (
    Mode.UNPOWERED, Mode.START_UP, Mode.NORMAL, Mode.LEAK_ACTIVE, Mode.POST_LEAK_HOLD, Mode.SENSOR_FAULT,
    Mode.SELF_TEST,
)  # fmt: skip
#: The light where the profile has none, or does not state it; ours.
_CODES = {
    Mode.NORMAL: STEADY, Mode.LEAK_ACTIVE: "5 flashes", Mode.POST_LEAK_HOLD: "2 flashes",
    Mode.SENSOR_FAULT: "4 flashes", Mode.SELF_TEST: "7 flashes",
}  # fmt: skip
_FLASH_MS, _GAP_MS, _PAUSE_MS = 300, 300, 1_500
_CODE_STEADY = 255
#: The button where the profile has none; ours.
_PLAIN = Button(
    press=Interval(20_000, 40_000),
    acts=Interval(0, 0),
    gestures={
        "recall": Gesture(2, Interval(3_000_000, 3_000_000)),
        "clear-faults": Gesture(press=Interval(8_000_000, 8_000_000)),
    },
)
#: A contact bounces for less than this.
SHORTEST_PRESS_MS = 10
_LONGEST_MS = 65_535
#: Scan, lamp and a group that was just begun.
_LIGHT_SPARE_MS = 50
_POLICIES = (Policy.OFF, Policy.ON, Policy.FOLLOW)
_ON_BAND = ("continue", "pause", "restart")
_WHEN_LOST = ("restart", "pause", "run")
_AFTER_CUT = ("resume", "restart_hold", "forget")
_USED, _FED_BY_CALL = 1, 2
_EVENTS = ("release", "return", "power-up", "any-off")


class Unfit(ValueError):
    """This board cannot be the profile's; the text is one sentence."""


def image(parameters: Parameters) -> bytes:
    """The image from address 0 of the board's EEPROM.  Raises Unfit."""
    _check(parameters)
    p, timing, rules = parameters, parameters.timing, parameters.rules
    places, calls = terminals(p), call_terminals(p)
    trip_ms = _qualification_ms(p, "trip")
    loss_ms = _qualification_ms(p, "loss")
    flags = (
        rules.lost_when == "all",
        bool(rules.latching),
        rules.after_fault == "hold",
        rules.hold_ends_only_when == "low",
        rules.check_before_normal,
        rules.leak_in_self_test == "waits",
        rules.loss_in_self_test == "waits",
    )
    head = struct.pack(
        "<BB3B10I",
        VERSION,
        sum(1 << bit for bit, flag in enumerate(flags) if flag),
        _ON_BAND.index(rules.hold_on_band or "restart"),
        _WHEN_LOST.index(rules.hold_when_lost or "restart"),
        _AFTER_CUT.index(rules.after_supply_loss or "restart_hold"),
        _ms(timing.boot) - START_MS,
        _ms(timing.warm_up) - START_MS,
        trip_ms,
        _stated_ms(timing.clear, "clear") - FILTER_MS - late_ms(p),
        _stated_ms(timing.hold, "hold"),
        loss_ms,
        _stated_ms(timing.return_, "return") - FILTER_MS - late_ms(p),
        _stated_ms(timing.ride_through, "ride-through"),
        0 if rules.reset_supply_off_us is None else rules.reset_supply_off_us // 1_000,
        _stated_ms(timing.self_test, "self-test"),
    )
    by_place = {places[o.name]: o for o in p.outputs}
    outputs = [by_place.get(name) for name in (*RELAYS, *ALARM)]
    by_name = {s.name: s for s in p.sensors}
    body = head + b"".join(_sensor(by_name.get(name)) for name in SENSORS) + _bus(p)
    body += b"".join(_output(o, p, calls, trip_ms, loss_ms) for o in outputs)
    body += _light(p.light) + _button(p.button or _PLAIN)
    return body + struct.pack("<H", crc16(body))


def terminals(parameters: Parameters) -> dict[str, str]:
    """Name of an output -> the board's terminal for it: that of its name, else the first that is free."""
    return _placed([o.name for o in parameters.outputs], (*RELAYS, *ALARM), RELAYS)


def call_terminals(parameters: Parameters) -> dict[str, str]:
    """Name of a call -> the board's terminal for it, likewise."""
    return _placed(parameters.calls, CALLS, CALLS)


def _placed(names: Sequence[str], known: Sequence[str], spare: Sequence[str]) -> dict[str, str]:
    """Where there are more names than terminals, some have none."""
    free = iter([place for place in spare if place not in names])
    placed = {name: name if name in known else next(free, None) for name in names}
    return {name: place for name, place in placed.items() if place is not None}


def crc16(data: bytes) -> int:
    """CRC-16/IBM-3740."""
    crc = 0xFFFF
    for byte in data:
        crc ^= byte << 8
        for _ in range(8):
            crc = (crc << 1) ^ (0x1021 if crc & 0x8000 else 0)
        crc &= 0xFFFF
    return crc


# -- parts -----------------------------------------------------------------------------------


def _sensor(sensor: Sensor | None) -> bytes:
    if sensor is None:
        return struct.pack("<B4H", 0, 0, 0, 0, 0)
    analog = sensor.kind in ("analog", "modbus")
    flags = (
        True,
        not analog,
        # A contact that opens on a leak goes up with it.
        not sensor.rising if analog else sensor.kind == "supervised" or sensor.leak_when == "closed",
        bool({"open", "above-range"} & sensor.lost_by),
        bool({"short", "below-range"} & sensor.lost_by),
        "trouble" in sensor.lost_by,
        sensor.trouble_when == "closed",
        sensor.modbus is not None,
    )
    return struct.pack("<B4H", sum(1 << bit for bit, flag in enumerate(flags) if flag), *_levels_mv(sensor))


def late_ms(parameters: Parameters) -> int:
    """How late, on average, this board learns what a Modbus sensor says; 0 where it has none."""
    return POLL_MS // 2 + _talk_ms(parameters) // 2 if parameters.buses else 0


def _talk_ms(parameters: Parameters) -> int:
    """How long a question and its answer take on the bus, with their silences."""
    modbus = next(iter(parameters.buses.values()))
    apart = 0 if modbus.status is None else abs(modbus.status - modbus.concentration)
    characters = 8 + 5 + 2 * (apart + 1) + 2 * 5
    return characters * CHARACTER_BITS * 1_000 // modbus.baud + 1


def _bus(parameters: Parameters) -> bytes:
    sensor = next((s for s in parameters.sensors if s.modbus is not None), None)
    if sensor is None:
        return struct.pack("<6B5H", *[0] * 11)
    modbus = sensor.modbus
    assert modbus is not None
    talk_ms = _talk_ms(parameters)
    bits = sum(modbus.status_of(word) for word in ("fault", "end-of-life") if word in sensor.lost_by)
    return struct.pack(
        "<6B5H",
        1 + SENSORS.index(sensor.name),
        modbus.address,
        _RATES.index(modbus.baud),
        _PARITIES.index(modbus.parity),
        modbus.function,
        sum(1 << bit for bit, way in enumerate(_LOST_BY) if way in sensor.lost_by),
        modbus.concentration,
        modbus.concentration if modbus.status is None else modbus.status,
        bits,
        POLL_MS + talk_ms,
        PATIENCE_MS + talk_ms,
    )


def _output(
    output: Output | None, parameters: Parameters, calls: Mapping[str, str], trip_ms: int, loss_ms: int
) -> bytes:
    if output is None:
        return struct.pack("<BB7B6IBI", 0, NO_CALL, *[0] * 7, *[0] * 6, 0, 0)
    timing = parameters.timing
    # A contact that closes without its coil is driven the other way round.
    policies = [_POLICIES.index(_driven(output, mode)) for mode in _MODES]
    restart = output.restart
    moves = [output.follow_on, output.follow_off, output.react_on, output.react_off]
    if output.kind == "contact-nc":
        moves = [output.follow_off, output.follow_on, output.react_off, output.react_on]
    return struct.pack(
        "<BB7B6IBI",
        _USED | (_FED_BY_CALL if output.feed == "call" else 0),
        NO_CALL if output.call is None else CALLS.index(calls[output.call]),
        *policies,
        *map(_move_ms, moves),
        _total_ms(output.trip or timing.trip, trip_ms, late_ms(parameters)),
        _total_ms(output.loss or timing.loss, loss_ms, late_ms(parameters)),
        0 if restart is None else sum(1 << i for i, e in enumerate(_EVENTS) if e in restart.after),
        0 if restart is None else _ms(restart.delay),
    )


def _light(light: Light | None) -> bytes:
    """What the light shows in each mode, then flash, gap and pause."""
    codes = {} if light is None else light.codes
    shown = [codes.get(mode) or _CODES.get(mode, DARK) for mode in _MODES]
    return struct.pack(
        f"<{len(shown)}B3H",
        *(_CODE_STEADY if code == STEADY else flashes(code) for code in shown),
        *_light_ms(light),
    )


def _light_ms(light: Light | None) -> tuple[int, int, int]:
    """Flash, gap and pause; those that are not stated stand well apart from those that are."""
    if light is None:
        return _FLASH_MS, _GAP_MS, _PAUSE_MS
    off, pause = light.off, light.pause
    gap_ms = _ms(off) if off is not None else min(_GAP_MS, _ms(pause) // 4) if pause is not None else _GAP_MS
    return (
        _FLASH_MS if light.on is None else _ms(light.on),
        gap_ms,
        max(_PAUSE_MS, 4 * gap_ms) if pause is None else _ms(pause),
    )


def _button(button: Button) -> bytes:
    """How long a press is, then of each gesture how many presses (0: a long one, or none) and the time."""
    bound = [button.gestures.get(action) for action in ACTIONS]
    return struct.pack("<H", _ms(button.press)) + b"".join(
        struct.pack("<BH", 0, 0) if gesture is None else struct.pack("<BH", *_gesture(gesture))
        for gesture in bound
    )


def _gesture(gesture: Gesture) -> tuple[int, int]:
    if gesture.press is not None:
        return 0, _ms(gesture.press)
    return gesture.presses, 0 if gesture.within is None else _ms(gesture.within)


def _driven(output: Output, mode: Mode) -> Policy:
    # A board that has no self-test is never in it.
    policy = output.modes.get(mode, Policy.OFF)
    if output.kind != "contact-nc":
        return policy
    return {Policy.ON: Policy.OFF, Policy.OFF: Policy.ON}.get(policy, policy)


def _levels_mv(sensor: Sensor) -> tuple[int, int, int, int]:
    """Trip, clear, short below, open above."""
    if sensor.modbus is not None:
        assert sensor.trip is not None and sensor.clear is not None
        return _middle_count(sensor.trip), _middle_count(sensor.clear), 0, 0
    if sensor.kind not in ("analog", "supervised") and sensor.leak_when == "open":
        return CONTACT_OPEN_MV, CONTACT_OPEN_MV, CONTACT_SHORT_MV, CONTACT_OPEN_MV
    if sensor.kind != "analog":
        return CONTACT_LEAK_MV, CONTACT_LEAK_MV, CONTACT_SHORT_MV, CONTACT_OPEN_MV
    volts = [uv for _, uv in sensor.points]
    lowest_mv, highest_mv = min(volts) // 1_000, max(volts) // 1_000
    return (
        _middle_mv(sensor, sensor.trip),
        _middle_mv(sensor, sensor.clear),
        lowest_mv // 2 if sensor.below is None else _middle_mv(sensor, sensor.below),
        (highest_mv + SUPPLY_MV) // 2 if sensor.above is None else _middle_mv(sensor, sensor.above),
    )


def _middle_mv(sensor: Sensor, band: Band | None) -> int:
    assert band is not None
    band = sensor.at_nominal(band)
    return (band.low_uv + band.high_uv) // 2_000


def _middle_count(band: Band) -> int:
    return (band.low_uv + band.high_uv) // 2


def _ms(span: Interval) -> int:
    return span.middle_us // 1_000


def _stated_ms(span: Interval | None, what: str) -> int:
    return NOT_STATED_MS[what] if span is None else _ms(span)


def _move_ms(span: Interval) -> int:
    return max(0, _ms(span) - RELAY_MS)


def _qualification_ms(parameters: Parameters, what: str) -> int:
    """`trip` and `loss` run to the terminals."""
    return _stated_ms(parameters.qualification(what), what) - RELAY_MS - FILTER_MS - late_ms(parameters)


def _total_ms(total: Interval | None, qualified_ms: int, late: int) -> int:
    """What an output waits after the qualification."""
    return 0 if total is None else max(0, _ms(total) - RELAY_MS - FILTER_MS - late - qualified_ms)


def _longest_group_ms(light: Light) -> int:
    flash_ms, gap_ms, pause_ms = _light_ms(light)
    most = max(flashes(code or _CODES.get(mode, DARK)) for mode, code in light.codes.items())
    return pause_ms + most * (flash_ms + gap_ms) if most else 0


# -- what the hardware cannot carry ----------------------------------------------------------


def _check(parameters: Parameters) -> None:
    p, timing, rules = parameters, parameters.timing, parameters.rules
    unknown = _first_not_in([s.name for s in p.sensors], SENSORS)
    if unknown is not None:
        raise Unfit(
            f"{p.name} has a sensor {unknown}; this board has inputs for {' and '.join(SENSORS)} only"
        )
    for sensor in p.sensors:
        _check_sensor(p.name, sensor)
    _check_names(p)
    for output in p.outputs:
        _check_output(p.name, output)
        if output.restart is not None and output.name in ALARM:
            raise Unfit(f"{p.name}: {output.name} has a restart delay; this board's alarm relays have none")
    if p.light is not None:
        _check_light(p.name, p.light)
    if p.button is not None:
        _check_button(p.name, p.button)
    _check_alarm(p.name, {o.name: o for o in p.outputs if o.name in ALARM})
    if _ms(timing.boot) <= START_MS:
        raise Unfit(
            f"{p.name}: boot takes {_ms(timing.boot)} ms; this board starts no sooner than {START_MS} ms"
        )
    if _stated_ms(timing.ride_through, "ride-through") < SHORTEST_RIDE_MS:
        raise Unfit(
            f"{p.name}: the ride-through is shorter than {SHORTEST_RIDE_MS} ms, which this board needs to know "
            "that the supply is gone"
        )
    if p.buses:
        _check_bus(p)
    for what in ("trip", "loss"):
        if _qualification_ms(p, what) <= 0:
            raise Unfit(f"{p.name}: {what} is shorter than this board's sensor filter and relay")
    if (rules.reset_supply_off_us or 0) > LONGEST_RESET_MS * 1_000:
        raise Unfit(
            f"{p.name}: a latched fault is reset after more than {LONGEST_RESET_MS // 1_000} s without supply; "
            "this board's capacitor cannot tell so long a time"
        )


def _check_sensor(name: str, sensor: Sensor) -> None:
    if sensor.kind != "analog":
        return
    supply = sensor.supply
    if supply is not None and not (
        supply.nominal_uv == SUPPLY_MV * 1_000 and supply.low_uv <= supply.nominal_uv <= supply.high_uv
    ):
        raise Unfit(
            f"{name}: sensor {sensor.name} is ratiometric to {supply.nominal_uv / 1e6:g} V; this board feeds its sensor "
            "and its converter with 5 V"
        )
    volts = [uv // 1_000 for _, uv in sensor.points]
    if min(volts) < 2 * ROOM_MV and "short" in sensor.lost_by:
        raise Unfit(
            f"{name}: sensor {sensor.name} goes down to {min(volts)} mV, which this board takes for a short"
        )
    if max(volts) > SUPPLY_MV - 2 * ROOM_MV and "open" in sensor.lost_by:
        raise Unfit(
            f"{name}: sensor {sensor.name} goes up to {max(volts)} mV, which this board takes for open"
        )


def _check_bus(p: Parameters) -> None:
    """It asks so seldom that a timing must be wide enough for it."""
    spans = {"clear": p.timing.clear, "return": p.timing.return_}
    spans |= {what: p.qualification(what) for what in ("trip", "loss")}
    needed_ms = POLL_MS + 2 * _talk_ms(p) + PATIENCE_MS
    for what, span in spans.items():
        if span is not None and span.width_us < 2_000 * needed_ms:
            raise Unfit(
                f"{p.name}: {what} is {span.width_us // 1_000} ms wide; this board asks its Modbus sensor so seldom "
                f"that it needs {2 * needed_ms}"
            )


def _check_names(p: Parameters) -> None:
    unknown = _first_not_in(p.calls, list(call_terminals(p)))
    if unknown is not None:
        raise Unfit(f"{p.name}: no terminal is left for the call {unknown}; this board has {len(CALLS)}")
    unknown = _first_not_in([o.name for o in p.outputs], list(terminals(p)))
    if unknown is not None:
        raise Unfit(
            f"{p.name}: no terminal is left for the output {unknown}; this board has {len(RELAYS)} and the alarm contacts"
        )


def _first_not_in(names: Sequence[str], allowed: Sequence[str]) -> str | None:
    return next((n for n in names if n not in allowed), None)


def _check_output(name: str, output: Output) -> None:
    at_rest = Policy.ON if output.kind == "contact-nc" else Policy.OFF
    if output.modes[Mode.UNPOWERED] is not at_rest:
        raise Unfit(
            f"{name}: {output.name} is not at rest in unpowered; this board's relays let go without supply"
        )
    if output.kind != "ac":
        if output.kind != {"alarm.no": "contact-no", "alarm.nc": "contact-nc"}[output.name]:
            raise Unfit(
                f"{name}: {output.name} is a {output.kind}; this board's contact there is the other one"
            )
        if Policy.FOLLOW in output.modes.values():
            raise Unfit(f"{name}: {output.name} follows a call; this board's alarm relays do not")
        return
    shortest_ms = min(_ms(output.follow_on), _ms(output.follow_off))
    if Policy.FOLLOW in output.modes.values() and shortest_ms < SHORTEST_FOLLOW_MS:
        raise Unfit(
            f"{name}: {output.name} follows its call in {shortest_ms} ms; this board needs {SHORTEST_FOLLOW_MS} ms"
        )


def _check_alarm(name: str, alarm: Mapping[str, Output]) -> None:
    if len(alarm) == 2 and any(all(o.modes.get(m) is Policy.ON for o in alarm.values()) for m in _MODES):
        raise Unfit(
            f"{name}: alarm.no and alarm.nc are closed in one mode; this board lets only one of them close"
        )
    for closing, opening in ((a, b) for a in alarm.values() for b in alarm.values() if a is not b):
        spans = {
            "after a change of mode": (closing.react_on, opening.react_off),
            "on a leak": (closing.trip, opening.trip),
            "on a lost sensor": (closing.loss, opening.loss),
        }
        for when, (closes, opens) in spans.items():
            if closes is None or opens is None:
                continue
            needed_ms = _ms(opens) + RELAY_MS + OPEN_AFTER_MS
            if needed_ms * 1_000 > closes.max_us:
                raise Unfit(
                    f"{name}: {closing.name} closes within {closes.max_us // 1_000} ms {when}; this board first opens "
                    f"{opening.name} and needs {needed_ms} ms"
                )


def _check_button(name: str, button: Button) -> None:
    if _ms(button.press) < SHORTEST_PRESS_MS:
        raise Unfit(
            f"{name}: a press of the button lasts {_ms(button.press)} ms; this board needs {SHORTEST_PRESS_MS} ms to "
            "tell one from a bounce"
        )
    lasting = {
        f"the gesture for {action}": _gesture(gesture)[1] for action, gesture in button.gestures.items()
    }
    for what, ms in {"a press of the button": _ms(button.press), **lasting}.items():
        if ms > _LONGEST_MS:
            raise Unfit(f"{name}: {what} takes {ms} ms; this board counts to {_LONGEST_MS}")


def _check_light(name: str, light: Light) -> None:
    needed_ms = _longest_group_ms(light) + _LIGHT_SPARE_MS
    if light.latency is not None and needed_ms * 1_000 > light.latency.max_us:
        raise Unfit(
            f"{name}: the light shows a mode within {light.latency.max_us // 1_000} ms; this board first finishes "
            f"its group, which takes up to {needed_ms} ms"
        )
    for what, span in (("a pause", light.pause), ("a flash", light.on), ("a gap", light.off)):
        if span is not None and _ms(span) > _LONGEST_MS:
            raise Unfit(
                f"{name}: {what} of the light takes {_ms(span)} ms; this board counts to {_LONGEST_MS}"
            )
