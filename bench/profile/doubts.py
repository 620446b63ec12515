"""Warnings: what this bench cannot prove, and where published limits disagree.

None of them keeps a profile from being used.
"""

from __future__ import annotations

from collections.abc import Iterator

from bench.judge.bounds import SIGNAL_BOUND_UV, expected_bound_us
from bench.profile import published
from bench.profile.build import PRACTICE
from bench.profile.mistakes import Mistake
from bench.profile.published import GOVERNS, Published
from bench.profile.quantities import format_duration, format_lfl, format_voltage
from bench.profile.refrigerants import refrigerants
from bench.profile.yamltext import Path
from firmware_ref.parameters import Band, Interval, Mode, Output, Parameters, Policy, Sensor

#: Closer than this two levels in %LFL are one: what a voltage in whole uV can tell.
_SAME_LFL = 1e-4


#: Also of the second stages and of emergency heat, which have no default.
_USUAL = {**PRACTICE, "Y2": "off", "W2": "off", "E": "off"}
_COMPRESSOR = ("Y", "Y2")


def doubts(parameters: Parameters) -> list[Mistake]:
    """Every warning, placed like a mistake."""
    return [*_too_narrow(parameters), *_unseen_calls(parameters), *_against_published(parameters)]


def _too_narrow(p: Parameters) -> Iterator[Mistake]:
    timing = p.timing
    spans: list[tuple[Path, Interval | None]] = [
        (("timing", name), span)
        for name, span in (
            ("boot", timing.boot), ("warm_up", timing.warm_up), ("trip", timing.trip), ("clear", timing.clear),
            ("hold", timing.hold), ("loss", timing.loss), ("return", timing.return_),
            ("ride_through", timing.ride_through), ("self_test", timing.self_test),
        )
    ]  # fmt: skip
    if p.button is not None:
        spans += [(("button", "press"), p.button.press), (("button", "acts"), p.button.acts)]
        for action, gesture in p.button.gestures.items():
            here = ("button", action.replace("-", "_"))
            spans += [((*here, "within"), gesture.within), ((*here, "press"), gesture.press)]
    for output in p.outputs:
        path: Path = ("outputs", output.name)
        if output.call is not None:
            spans += [((*path, "follow"), output.follow_on), ((*path, "follow"), output.follow_off)]
        if (output.react_on.max_us, output.react_off.max_us) != (
            output.follow_on.max_us,
            output.follow_off.max_us,
        ):
            spans += [((*path, "react"), output.react_on), ((*path, "react"), output.react_off)]
        if output.restart is not None:
            spans.append(((*path, "restart", "delay"), output.restart.delay))
        spans += [
            ((*path, key), span)
            for key, span, general in (("trip", output.trip, timing.trip), ("loss", output.loss, timing.loss))
            if span != general
        ]
    warned: set[Path] = set()
    for where, span in spans:
        if span is None or where in warned or (where == ("timing", "clear") and span.max_us == 0):
            continue  # a hold that counts from the leak's end: no timing of its own
        # A lower end of 0 is no limit, so only one end needs room.
        needed = (4 if span.min_us else 2) * expected_bound_us(span.max_us)
        if span.width_us < needed:
            warned.add(where)
            yield Mistake(
                where,
                f"is {format_duration(span.width_us)} wide, too narrow to prove on this bench, "
                f"which needs {format_duration(needed)}; it will mostly end as inconclusive",
            )
    for sensor in p.sensors:
        for key, band in (("trip", sensor.trip), ("clear", sensor.clear)):
            if band is None or sensor.kind == "modbus":
                continue  # a count is exact
            if band.high_uv - band.low_uv < 4 * SIGNAL_BOUND_UV:
                yield Mistake(
                    ("sensors", sensor.name, key),
                    f"is {format_voltage(band.high_uv - band.low_uv)} wide at the terminal, too narrow to prove "
                    f"on this bench, which needs {format_voltage(4 * SIGNAL_BOUND_UV)}",
                )


def _unseen_calls(p: Parameters) -> Iterator[Mistake]:
    for index, call in enumerate(p.calls):
        if not any(o.call == call and o.modes[Mode.NORMAL] is Policy.FOLLOW for o in p.outputs):
            yield Mistake(
                ("calls", index), f"{call}: no output follows it, so nothing shows that the board takes it"
            )


def _against_published(p: Parameters) -> Iterator[Mistake]:
    hold = p.timing.hold
    least = published.HOLD_AT_LEAST.value or 0
    if hold is not None and hold.min_us < least * 1_000_000:
        yield _warn(
            ("timing", "hold"), f"may be as short as {format_duration(hold.min_us)}", published.HOLD_AT_LEAST
        )
    trips: list[tuple[Path, Interval | None]] = [(("timing", "trip"), p.timing.trip)]
    trips += [(("outputs", o.name, "trip"), o.trip) for o in p.outputs if o.trip != p.timing.trip]
    for where, span in trips:
        for limit in (published.DETECTED_WITHIN, published.STARTED_WITHIN, published.DETECTED_IN_PLUNGE):
            if span is not None and span.max_us > (limit.value or 0) * 1_000_000:
                yield _warn(where, f"may take {format_duration(span.max_us)}", limit)
                break
    for sensor in p.sensors:
        yield from _trip_level(sensor)
    if not any(s.lost_by for s in p.sensors):
        first = p.sensors[0]
        yield _warn(("sensors", first.name), "cannot be lost, nor can another sensor", published.LOSS_NOTICED)
    for output in p.outputs:
        yield from _practice(output)
        yield from _damper(output)
        yield from _start_up(output, p)


def _trip_level(sensor: Sensor) -> Iterator[Mistake]:
    if sensor.trip is None:
        return
    highest = _highest_level(sensor, sensor.trip)
    claim = sensor.trip_at_most_lfl
    published_lfl = published.TRIP_AT_MOST.value or 0
    if claim is not None and highest > claim + _SAME_LFL:
        yield Mistake(
            ("sensors", sensor.name, "trip_at_most"),
            f"claims at most {said_lfl(sensor, claim)}, and trip with its tolerance reaches "
            f"{said_lfl(sensor, highest)}: a board inside its tolerance may break the claim",
        )
    if claim is not None and claim > published_lfl + _SAME_LFL:
        yield _warn(
            ("sensors", sensor.name, "trip_at_most"), f"is {said_lfl(sensor, claim)}", published.TRIP_AT_MOST
        )
    if highest > published_lfl + _SAME_LFL:
        yield _warn(
            ("sensors", sensor.name, "trip"), f"may be {said_lfl(sensor, highest)}", published.TRIP_AT_MOST
        )


def said_lfl(sensor: Sensor, level_lfl: float) -> str:
    """A level in %LFL, and in ppm where the refrigerant is known."""
    in_ppm = "" if sensor.lfl_ppm is None else f" ({level_lfl / 100 * sensor.lfl_ppm:.0f} ppm)"
    return f"{format_lfl(level_lfl)}{in_ppm}"


def of_refrigerant(name: str | None) -> Iterator[Mistake]:
    """Where the LFL that levels in ppm go by is only remembered."""
    figure = (
        refrigerants()[name].by_volume[0] if name is not None and refrigerants()[name].by_volume else None
    )
    if figure is not None and figure.certainty.startswith("M"):
        yield Mistake(
            ("refrigerant",),
            f"levels in ppm go by an LFL of {figure}; compare it with the maker's; {GOVERNS}",
        )


def _highest_level(sensor: Sensor, band: Band) -> float:
    band = sensor.at_nominal(band)
    return max(sensor.level_at(band.low_uv), sensor.level_at(band.high_uv))


def _practice(output: Output) -> Iterator[Mistake]:
    usual = _USUAL.get(output.name)
    if usual is None:
        return
    for mode, source in (
        (Mode.LEAK_ACTIVE, published.LEAK_PRACTICE),
        (Mode.POST_LEAK_HOLD, published.HOLD_PRACTICE),
    ):
        if output.modes[mode].value != usual:
            yield _warn(("outputs", output.name, "modes", mode.value), f"is {output.modes[mode]}", source)
    fault = output.modes[Mode.SENSOR_FAULT]
    if usual == "on" and output.loss is not None and fault is not Policy.ON:
        yield _warn(
            ("outputs", output.name, "modes", Mode.SENSOR_FAULT.value),
            f"is {fault}",
            published.FAULT_PRACTICE,
        )

    if output.name in _COMPRESSOR and output.loss is not None and fault is not Policy.OFF:
        yield _warn(
            ("outputs", output.name, "modes", Mode.SENSOR_FAULT.value),
            f"is {fault}",
            published.COMPRESSOR_ON_FAULT,
        )


def _damper(output: Output) -> Iterator[Mistake]:
    """Of an output that is called a damper; which way it is driven open, only its maker knows."""
    if "damper" in output.name.lower() and output.modes[Mode.LEAK_ACTIVE] is Policy.FOLLOW:
        path = ("outputs", output.name, "modes", Mode.LEAK_ACTIVE.value)
        yield _warn(path, "is follow", published.DAMPER_PRACTICE)


def _start_up(output: Output, p: Parameters) -> Iterator[Mistake]:
    """A call passed before the sensors are watched, with nothing running that dilutes."""
    blown = any(o.name == "G" and o.modes[Mode.START_UP] is Policy.ON for o in p.outputs)
    if _USUAL.get(output.name) == "off" and output.modes[Mode.START_UP] is not Policy.OFF and not blown:
        path = ("outputs", output.name, "modes", Mode.START_UP.value)
        yield _warn(path, f"is {output.modes[Mode.START_UP]}", published.START_UP_PRACTICE)


def _warn(path: Path, what: str, limit: Published) -> Mistake:
    return Mistake(path, f"{what}; {limit}; {GOVERNS}")
