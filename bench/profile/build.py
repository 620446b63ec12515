"""A form without mistakes → `firmware_ref.Parameters`.

What a profile leaves out gets its default here, and nowhere else.
"""

from __future__ import annotations

import math
from decimal import Decimal
from typing import Any

from bench.profile.form import (
    ButtonForm,
    LightForm,
    LongPress,
    OutputForm,
    Presses,
    ProfileForm,
    RulesForm,
    SensorForm,
)
from bench.profile.intervals import ends_of, span_of, spans_of_moves
from bench.profile.quantities import PPM, Level, parse_gas
from bench.profile.refrigerants import refrigerants
from bench.profile.values import NOT_STATED
from firmware_ref.parameters import (
    ACTIONS,
    DARK,
    Band,
    Button,
    Gesture,
    Interval,
    Light,
    Modbus,
    Mode,
    Output,
    Parameters,
    Policy,
    Restart,
    Rules,
    Sensor,
    SensorSupply,
    Timing,
)

#: By published practice (see `published.py`): cooling and heat off, blower on, from the leak to the end of the hold.
PRACTICE = {"Y": "off", "W": "off", "G": "on"}
_POLICY = {
    "follow": Policy.FOLLOW,
    "off": Policy.OFF,
    "on": Policy.ON,
    "open": Policy.OFF,
    "closed": Policy.ON,
}
DEFAULT_MAX_UV = 5_000_000
#: A register holds 16 bits, and the fixture keeps their highest number for itself.
MOST_COUNTS = 0xFFFE
#: %LFL and ppm turn into each other by a number that is not exact.
_COUNT_DIGITS = 6
_DEFAULT_SETTLE_US = 100_000
#: Rules whose absence means that either answer is right.
_JUDGED_RULES = ("hold_on_band", "hold_when_lost", "latching", "after_supply_loss", "backfeed")


def can_be_lost(form: ProfileForm) -> bool:
    """Whether the board can notice the loss of any sensor: not with plain contacts alone."""
    if form.sensors is None:  # not known while mistakes are being collected
        return True
    return any(s.kind != "contact" if s.lost_by is None else bool(s.lost_by) for s in form.sensors.values())


def has_self_test(form: ProfileForm) -> bool:
    """Whether the service button starts a self-test."""
    return form.button is not None and form.button.self_test is not None


def sensor_terminals(form: ProfileForm) -> list[str]:
    """The sensors' terminals: `1`, and `2-trouble` of a sensor with a trouble contact."""
    names = []
    for name, sensor in form.sensors.items():
        names += [name, f"{name}-trouble"] if sensor.kind == "trouble-contact" else [name]
    return names


def bus_names(form: ProfileForm) -> frozenset[str]:
    """The Modbus sensors as they are wired, `sensor.1`."""
    return frozenset(f"sensor.{name}" for name, s in (form.sensors or {}).items() if s.kind == "modbus")


def call_of(form: ProfileForm, name: str, output: OutputForm) -> str | None:
    """The call that an output follows."""
    return output.call or (name if name in (form.calls or ()) else None)


def policies(form: ProfileForm, name: str, output: OutputForm) -> dict[Mode, str | None]:
    """What an output does in each mode; None where the profile ought to say and does not."""
    modes = output.modes
    if modes is None:
        return {}
    practice = PRACTICE.get(name) if output.kind == "ac" else None
    fault = modes.sensor_fault or (None if can_be_lost(form) else modes.normal)
    tested = modes.self_test or (None if has_self_test(form) else modes.normal)
    return {
        Mode.UNPOWERED: modes.unpowered,
        Mode.START_UP: modes.start_up,
        Mode.NORMAL: modes.normal,
        Mode.LEAK_ACTIVE: modes.leak_active or practice,
        Mode.POST_LEAK_HOLD: modes.post_leak_hold or practice,
        Mode.SENSOR_FAULT: fault,
        Mode.SELF_TEST: tested,
    }


def reactions(form: ProfileForm, output: OutputForm) -> tuple[Interval | None, Interval | None]:
    """Limits of a move to on and to off after a change of mode: 0 to the latest time."""
    general = form.timing.react if form.timing else None
    spans = spans_of_moves(next((w for w in (output.react, general, output.follow) if w is not None), None))
    on, off = (None if span is None else Interval(0, span.max_us) for span in spans)
    return on, off


def lfl_ppm_of(form: ProfileForm) -> float | None:
    """ppm by volume at 100 %LFL of the profile's refrigerant; None where it names none, or none is known."""
    if form.refrigerant is None:
        return None
    found = refrigerants().get(form.refrigerant)
    return None if found is None else found.lfl_ppm


def can_be_volts(sensor: SensorForm, lfl_ppm: float | None) -> bool:
    """Whether the levels of this sensor can be turned into voltages: while mistakes are collected, they may not."""
    if sensor.kind == "modbus":
        return False
    written = [
        *map(parse_gas, sensor.points or {}),
        *(ends_of(sensor.trip) or ()),
        *(ends_of(sensor.clear) or ()),
    ]
    if isinstance(sensor.trip_at_most, Level):
        written.append(sensor.trip_at_most)
    if lfl_ppm is None and any(level.unit == PPM for level in written):
        return False
    return all(level.unit == "V" for level in written) or len(sensor.points or {}) >= 2


def band_of(sensor: SensorForm, ends: tuple[Level, Level], lfl_ppm: float | None) -> Band:
    """The terminal voltages of a written level interval, in rising order whichever way the gas moves them.

    Of a ratiometric sensor: wherever its supply lies.  Of a Modbus sensor: the
    counts that lie within it, none perhaps.
    """
    if sensor.kind == "modbus":
        low, high = (counts_of(sensor, end, lfl_ppm) for end in ends)
        # A count outside the written band must not come into it by rounding.
        return Band(math.ceil(low), math.floor(high))
    volts = [uv_of(sensor, end, lfl_ppm) for end in ends]
    least, most = min(volts), max(volts)
    supply = supply_of(sensor)
    if supply is None:
        return Band(least, most)
    return Band(least * supply.low_uv // supply.nominal_uv, -(-most * supply.high_uv // supply.nominal_uv))


def supply_of(sensor: SensorForm) -> SensorSupply | None:
    """Of a ratiometric sensor, as far as it is written rightly."""
    ends = ends_of(sensor.sensor_supply)
    if not sensor.ratiometric or ends is None or any(end.unit != "V" for end in ends) or not ends[0].value:
        return None
    low, high = (int(end.value) for end in ends)
    return SensorSupply((low + high) // 2, low, high)


def counts_of(sensor: SensorForm, level: Level, lfl_ppm: float | None) -> Decimal:
    """A level in counts of the concentration, exact where it has the scale's unit."""
    scale = scale_of(sensor)
    if scale.unit == level.unit:
        return level.value / scale.value
    return round(Decimal(level.lfl(lfl_ppm) / scale.lfl(lfl_ppm)), _COUNT_DIGITS)


def scale_of(sensor: SensorForm) -> Level:
    """What one count of the concentration is."""
    return parse_gas(sensor.registers.concentration.scale)


def uv_of(sensor: SensorForm, level: Level, lfl_ppm: float | None) -> int:
    """The terminal voltage of a written level."""
    if level.unit == "V":
        return int(level.value)
    return Sensor("", "analog", frozenset(), points_of(sensor, lfl_ppm)).uv_at(level.lfl(lfl_ppm))


def points_of(sensor: SensorForm, lfl_ppm: float | None) -> tuple[tuple[float, int], ...]:
    """Level in %LFL and terminal voltage in uV, by rising level; of a Modbus sensor the count."""
    if sensor.kind == "modbus":
        return ((0.0, 0), (scale_of(sensor).lfl(lfl_ppm) * MOST_COUNTS, MOST_COUNTS))
    return tuple(sorted((parse_gas(level).lfl(lfl_ppm), uv) for level, uv in (sensor.points or {}).items()))


def build(form: ProfileForm) -> Parameters:
    """The parameters; `form` has passed every check."""
    outputs = tuple(_output(form, name, o) for name, o in form.outputs.items())
    sensors = tuple(_sensor(name, s, lfl_ppm_of(form)) for name, s in form.sensors.items())
    lossy = can_be_lost(form)
    proofs = default_proofs(outputs, lossy)
    return Parameters(
        name=form.name,
        frequency_hz=int(form.supply.frequency.split()[0]),
        calls_fed_from=form.supply.calls_fed_from,
        calls=tuple(form.calls),
        outputs=outputs,
        sensors=sensors,
        timing=_timing(form),
        rules=_rules(form.rules or RulesForm(), lossy),
        must_prove=proofs if form.must_prove is None else tuple(form.must_prove),
        decision=form.decision or "guarded",
        not_stated=tuple(not_stated(form)),
        button=_button(form.button),
        light=None if form.light is None else _light(form.light),
    )


def _output(form: ProfileForm, name: str, output: OutputForm) -> Output:
    follow_on, follow_off = spans_of_moves(output.follow)
    react_on, react_off = reactions(form, output)
    assert react_on is not None and react_off is not None
    return Output(
        name=name,
        kind=output.kind,
        feed=output.feed,
        call=call_of(form, name, output),
        modes={mode: _POLICY[policy or ""] for mode, policy in policies(form, name, output).items()},
        follow_on=follow_on or react_on,
        follow_off=follow_off or react_off,
        react_on=react_on,
        react_off=react_off,
        trip=span_of(form.timing.trip if output.trip is None else output.trip),
        loss=span_of(form.timing.loss if output.loss is None else output.loss),
        restart=_restart(output),
    )


def _restart(output: OutputForm) -> Restart | None:
    if output.restart is None:
        return None
    delay = span_of(output.restart.delay)
    assert delay is not None
    return Restart(frozenset(output.restart.after), delay)


def _sensor(name: str, sensor: SensorForm, lfl_ppm: float | None) -> Sensor:
    lost_by: frozenset[str] = frozenset(sensor.lost_by or ()) - {"out_of_range"}
    if sensor.kind not in ("analog", "modbus"):
        return Sensor(
            name=name,
            kind=sensor.kind,
            lost_by=lost_by,
            leak_when=sensor.leak_when or "closed",
            trouble_when=(sensor.trouble_when or "open") if sensor.kind == "trouble-contact" else None,
        )
    bands = []
    for written in (sensor.trip, sensor.clear):
        ends = ends_of(written)
        assert ends is not None
        bands.append(band_of(sensor, ends, lfl_ppm))
    limits = range_of(sensor, lfl_ppm)
    return Sensor(
        name=name,
        kind=sensor.kind,
        lost_by=lost_by | {f"{side}-range" for side in limits},
        points=points_of(sensor, lfl_ppm),
        trip=bands[0],
        clear=bands[1],
        max_uv=_most(sensor),
        below=limits.get("below"),
        above=limits.get("above"),
        supply=supply_of(sensor),
        load_uv=_stated(sensor.load),
        lfl_ppm=lfl_ppm,
        trip_at_most_lfl=_claim(sensor, lfl_ppm),
        modbus=_modbus(sensor, lfl_ppm),
    )


def _most(sensor: SensorForm) -> int:
    if sensor.kind == "modbus":
        return MOST_COUNTS
    return DEFAULT_MAX_UV if sensor.max is None else sensor.max


def _modbus(sensor: SensorForm, lfl_ppm: float | None) -> Modbus | None:
    if sensor.kind != "modbus":
        return None
    bus, concentration, status = sensor.bus, sensor.registers.concentration, sensor.registers.status
    return Modbus(
        address=bus.address,
        baud=bus.baud,
        parity=bus.parity,
        function=bus.function,
        concentration=concentration.number,
        lfl_per_count=scale_of(sensor).lfl(lfl_ppm),
        status=status.number if status is not None else None,
        fault_bit=status.fault if status is not None else None,
        end_of_life_bit=status.end_of_life if status is not None else None,
    )


def range_of(sensor: SensorForm, lfl_ppm: float | None) -> dict[str, Band]:
    """`below` and `above`, as far as they are written."""
    if sensor.out_of_range is None:
        return {}
    found = {side: ends_of(sensor.out_of_range.at(side)) for side in ("below", "above")}
    return {side: band_of(sensor, ends, lfl_ppm) for side, ends in found.items() if ends is not None}


def _claim(sensor: SensorForm, lfl_ppm: float | None) -> float | None:
    """The level in %LFL at or below which the maker says that it trips."""
    if sensor.trip_at_most is None:
        return None
    if sensor.trip_at_most.unit != "V":
        return float(sensor.trip_at_most.lfl(lfl_ppm))
    in_points = Sensor("", "analog", frozenset(), points_of(sensor, lfl_ppm))
    return in_points.level_at(float(sensor.trip_at_most.value))


def _button(button: ButtonForm | None) -> Button | None:
    if button is None:
        return None
    press, acts = span_of(button.press), span_of(button.acts)
    assert press is not None and acts is not None
    written = {action: button.at(action.replace("-", "_")) for action in ACTIONS}
    gestures = {action: _gesture(g) for action, g in written.items() if g is not None}
    return Button(press, acts, gestures)


def _gesture(written: Presses | LongPress) -> Gesture:
    if isinstance(written, LongPress):
        return Gesture(press=span_of(written.press))
    return Gesture(written.presses, span_of(written.within) if written.presses > 1 else None)


def _timing(form: ProfileForm) -> Timing:
    timing = form.timing
    boot, warm_up = span_of(timing.boot), span_of(timing.warm_up)
    assert boot is not None and warm_up is not None
    return Timing(
        boot=boot,
        warm_up=warm_up,
        trip=span_of(timing.trip),
        clear=span_of(timing.clear),
        hold=span_of(timing.hold),
        loss=span_of(timing.loss),
        return_=span_of(timing.return_),
        ride_through=span_of(timing.ride_through),
        glitch_us=timing.glitch,
        settle_us=_DEFAULT_SETTLE_US if timing.settle is None else timing.settle,
        self_test=span_of(timing.self_test),
    )


def codes(light: LightForm) -> dict[Mode, str | None]:
    """What the light shows in each mode, as written; None where the profile says nothing."""
    modes = light.modes
    written = {} if modes is None else {mode: modes.at(mode.value) for mode in Mode}
    if written.get(Mode.SELF_TEST) is None:
        written.pop(Mode.SELF_TEST, None)
    written[Mode.UNPOWERED] = DARK
    written[Mode.START_UP] = written.get(Mode.START_UP) or DARK
    return written


def _light(light: LightForm) -> Light:
    flash = light.flash
    on, off, pause = (None if flash is None else span_of(flash.at(key)) for key in ("on", "off", "pause"))
    # A mode that the board cannot come to shows nothing.
    written = {mode: _stated(code or DARK) for mode, code in codes(light).items()}
    return Light(written, on, off, pause, span_of(light.latency), light.seen or "optical")


def _stated(value: Any) -> Any:
    return None if value == NOT_STATED else value


def _rules(rules: RulesForm, lossy: bool) -> Rules:
    reset = _stated(rules.reset)
    return Rules(
        lost_when=rules.lost_when or "any",
        hold_on_band=_stated(rules.hold_on_band),
        hold_when_lost=_stated(rules.hold_when_lost),
        hold_ends_only_when=_stated(rules.hold_ends_only_when),
        check_before_normal=bool(_stated(rules.check_before_normal)),
        return_only_when=_stated(rules.return_only_when),
        after_fault=rules.after_fault or "normal",
        latching=_stated(rules.latching) if lossy else False,
        reset_supply_off_us=None if reset is None else reset.supply_off,
        after_supply_loss=_stated(rules.after_supply_loss),
        unpowered_with_calls=bool(rules.unpowered_with_calls),
        backfeed=_stated(rules.backfeed),
        leak_in_self_test=_stated(rules.leak_in_self_test),
        loss_in_self_test=_stated(rules.loss_in_self_test),
    )


def default_proofs(outputs: tuple[Output, ...], lossy: bool) -> tuple[str, ...]:
    """What *pass* must have shown of a board with these outputs; alarm contacts are not among it."""
    ac = [o for o in outputs if o.kind == "ac"]
    return (
        *(f"follow:{o.name}" for o in ac if o.modes[Mode.NORMAL] is Policy.FOLLOW),
        *(f"trip:{o.name}" for o in ac if o.modes[Mode.LEAK_ACTIVE] is not o.modes[Mode.NORMAL]),
        *(f"blocked:{o.name}" for o in ac if o.call is not None and _mitigated(o) == {Policy.OFF}),
        *(f"forced:{o.name}" for o in ac if _mitigated(o) == {Policy.ON}),
        "hold",
        "re-leak",
        *(("loss",) if lossy else ()),
    )


def _mitigated(output: Output) -> set[Policy]:
    return {output.modes[Mode.LEAK_ACTIVE], output.modes[Mode.POST_LEAK_HOLD]}


def not_stated(form: ProfileForm) -> list[str]:
    """Keys without a figure or a rule of the maker: measured and reported, never judged."""
    lossy = can_be_lost(form)
    timing, rules = form.timing, form.rules or RulesForm()
    names = [f"timing.{key}" for key in timing.known_keys() if timing.at(key) == NOT_STATED]
    for name, output in form.outputs.items():
        names += [f"outputs.{name}.{key}" for key in ("trip", "loss") if output.at(key) == NOT_STATED]
    for name, sensor in form.sensors.items():
        if sensor.kind == "analog" and _stated(sensor.load) is None:
            names.append(f"sensors.{name}.load")
    for key in _JUDGED_RULES:
        if _stated(rules.at(key)) is None and (lossy or key not in ("hold_when_lost", "latching")):
            names.append(f"rules.{key}")
    if has_self_test(form):
        keys = ("leak_in_self_test", *(("loss_in_self_test",) if lossy else ()))
        names += [f"rules.{key}" for key in keys if _stated(rules.at(key)) is None]
    if rules.reset == NOT_STATED and (form.button is None or form.button.reset is None):
        names.append("rules.reset")
    if form.light is not None:
        names += _light_not_stated(form.light)
    return names


def _light_not_stated(light: LightForm) -> list[str]:
    names = [f"light.modes.{mode}" for mode, code in codes(light).items() if code == NOT_STATED]
    if light.flash is not None:
        names += [
            f"light.flash.{key}" for key in light.flash.known_keys() if light.flash.at(key) == NOT_STATED
        ]
    return names + (["light.latency"] if light.latency == NOT_STATED else [])
