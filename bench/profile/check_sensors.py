"""What a sensor's keys say together: points, levels and their bands, loss."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from itertools import pairwise

from bench.judge.bounds import SIGNAL_BOUND_UV
from bench.profile.build import DEFAULT_MAX_UV, band_of, lfl_ppm_of, points_of, range_of
from bench.profile.check_modbus import WAYS, modbus_mistakes
from bench.profile.form import ProfileForm, SensorForm
from bench.profile.intervals import ends_of
from bench.profile.mistakes import Mistake
from bench.profile.quantities import PPM, Level, format_voltage, parse_gas
from bench.profile.refrigerants import near, refrigerants
from bench.profile.yamltext import Path
from firmware_ref.parameters import Band

#: Keys of some kinds only.
_KINDS_OF = {
    **dict.fromkeys(("points", "max", "ratiometric", "sensor_supply", "load", "trip_at_most"), ("analog",)),
    "out_of_range": ("analog",),
    **dict.fromkeys(("trip", "clear"), ("analog", "modbus")),
    **dict.fromkeys(("bus", "registers"), ("modbus",)),
}
_LOST_BY = {"trouble-contact": "[trouble]", "modbus": f"[{', '.join(list(WAYS)[:3])}]"}
_ANALOG_NEEDS = {
    "points": "{0 %LFL: 0.5 V, 100 %LFL: 4.5 V}",
    "trip": "{nominal: 18 %LFL, tolerance: 2 %LFL}",
    "clear": "{nominal: 10 %LFL, tolerance: 2 %LFL}",
}


def sensor_mistakes(form: ProfileForm) -> Iterator[Mistake]:
    yield from _refrigerant(form.refrigerant)
    for name, sensor in (form.sensors or {}).items():
        path: Path = ("sensors", name)
        if sensor.kind is None:
            continue
        if sensor.kind == "contact" and sensor.lost_by is not None:
            yield Mistake(
                (*path, "lost_by"),
                "does not fit: a plain contact cannot be lost; remove it, or write kind: supervised, "
                "or trouble-contact",
            )
        if sensor.kind != "contact" and sensor.lost_by is None:
            yield Mistake(
                (*path, "lost_by"),
                f"is missing; write what the board must notice, as in {_LOST_BY.get(sensor.kind, '[open, short]')}",
            )
        for key, kinds in _KINDS_OF.items():
            if sensor.at(key) is not None and sensor.kind not in kinds:
                yield Mistake(
                    (*path, key),
                    f"does not fit {_a(sensor.kind)} sensor; remove it, or write kind: {' or '.join(kinds)}",
                )
        yield from _ways(sensor, path)
        if sensor.kind == "modbus":
            yield from modbus_mistakes(sensor, path, form.refrigerant, lfl_ppm_of(form))
        if sensor.kind == "analog":
            yield from _analog(sensor, path, form.refrigerant, lfl_ppm_of(form))


def _refrigerant(name: str | None) -> Iterator[Mistake]:
    if name is not None and name not in refrigerants():
        guess = f"did you mean {near(name)}?" if near(name) else f"write one of {', '.join(refrigerants())}"
        yield Mistake(
            ("refrigerant",),
            f"{name} is not among those whose LFL could be established; {guess} Or leave it out and write "
            "levels in %LFL or volts",
        )


def _a(kind: str) -> str:
    return f"an {kind}" if kind == "analog" else f"a {kind}"


def _ways(sensor: SensorForm, path: Path) -> Iterator[Mistake]:
    """Ways to be lost, and the positions of contacts, that this kind of sensor has not."""
    troubled = sensor.kind == "trouble-contact"
    fitting = ("trouble",) if troubled else ("open", "short")
    if sensor.kind == "analog":
        fitting = (*fitting, "out_of_range")
    for index, way in enumerate(sensor.lost_by or () if sensor.kind not in ("contact", "modbus") else ()):
        if way not in fitting:
            fits = (
                "[trouble], or []: a plain contact has no other way"
                if troubled
                else f"{' and '.join(fitting)} only"
            )
            yield Mistake(
                (*path, "lost_by", index), f"{way} does not fit {_a(sensor.kind)} sensor; write {fits}"
            )
    if sensor.leak_when is not None and sensor.kind not in ("contact", "trouble-contact"):
        yield Mistake(
            (*path, "leak_when"),
            f"does not fit {_a(sensor.kind)} sensor, which is no plain contact; remove it",
        )
    if sensor.trouble_when is not None and not troubled:
        yield Mistake(
            (*path, "trouble_when"),
            f"does not fit {_a(sensor.kind)} sensor; remove it, or write kind: trouble-contact",
        )


def _analog(
    sensor: SensorForm, path: Path, refrigerant: str | None, lfl_ppm: float | None
) -> Iterator[Mistake]:
    for key, example in _ANALOG_NEEDS.items():
        if sensor.at(key) is None:
            yield Mistake((*path, key), f"is missing; write for example {example}")
    if lfl_ppm is None:
        in_ppm = list(_in_ppm(sensor, path))
        if in_ppm:
            # One sentence at the key that is missing or wrong; a wrong one has its own already.
            if refrigerant is None or refrigerant in refrigerants():
                for where in in_ppm:
                    yield Mistake(
                        where, "is in ppm, which needs the refrigerant; write for example refrigerant: R-32"
                    )
            return
    yield from _supply(sensor, path)
    max_uv = DEFAULT_MAX_UV if sensor.max is None else sensor.max
    sound = True
    if sensor.points is not None:
        for mistake in _points(sensor, (*path, "points"), max_uv, lfl_ppm):
            sound = False
            yield mistake
    bands = {}
    for key in ("trip", "clear"):
        ends = ends_of(sensor.at(key))
        if ends is None:
            continue
        if ends[1].unit != "V" and ends[1].lfl(lfl_ppm) > 100:
            yield Mistake((*path, key), "reaches above 100 %LFL; write a lower level or tolerance")
        elif ends[0].unit == "V" or (sensor.points is not None and sound):
            band = bands[key] = band_of(sensor, ends, lfl_ppm)
            if not 0 <= band.low_uv <= band.high_uv <= max_uv:
                volts = f"{format_voltage(band.low_uv)} to {format_voltage(band.high_uv)}"
                yield Mistake(
                    (*path, key),
                    f"is {volts} at the terminal, outside 0 V to {format_voltage(max_uv)}; write a level within",
                )
    if len(bands) == 2 and sensor.points is not None and sound:
        yield from _apart(bands["trip"], bands["clear"], _rises(sensor, lfl_ppm), path)
    if sound or sensor.points is None:
        yield from _range(sensor, bands, max_uv, lfl_ppm, path)


def _supply(sensor: SensorForm, path: Path) -> Iterator[Mistake]:
    where = (*path, "sensor_supply")
    if sensor.ratiometric and sensor.sensor_supply is None:
        yield Mistake(
            where,
            "is missing: the fixture's signal is a fixed voltage, and it cannot sense what the board feeds its sensor "
            "with; measure that at the board and write for example {nominal: 5 V, tolerance: 50 mV}",
        )
    if sensor.sensor_supply is not None and not sensor.ratiometric:
        yield Mistake(
            where, "does not fit a signal that keeps its voltage; remove it, or write ratiometric: true"
        )
    ends = ends_of(sensor.sensor_supply)
    if ends is not None and sensor.ratiometric and (ends[0].unit != "V" or not ends[0].value):
        yield Mistake(
            where, "must be a voltage above 0 V; write for example {nominal: 5 V, tolerance: 50 mV}"
        )


def _range(
    sensor: SensorForm, bands: Mapping[str, Band], max_uv: int, lfl_ppm: float | None, path: Path
) -> Iterator[Mistake]:
    """Out of range lies beyond both levels, and within what the fixture can give; two bounds apart at least."""
    listed = "out_of_range" in (sensor.lost_by or ())
    where: Path = (*path, "out_of_range")
    limits = range_of(sensor, lfl_ppm)
    if listed and sensor.out_of_range is None:
        yield Mistake(
            where,
            "is missing, though lost_by names it; write {below: {nominal: 0.3 V, tolerance: 0.1 V}} or above",
        )
    if sensor.out_of_range is not None and not listed and sensor.lost_by is not None:
        yield Mistake(
            (*path, "lost_by"), "leaves out_of_range out, though its limits are written; add out_of_range"
        )
    if (
        sensor.out_of_range is not None
        and sensor.out_of_range.below is None
        and sensor.out_of_range.above is None
    ):
        yield Mistake(where, "names no limit; write below, above or both", unless=where)
    room = 2 * SIGNAL_BOUND_UV
    levels = [uv for band in bands.values() for uv in (band.low_uv, band.high_uv)]
    for side, band in limits.items():
        least, most = (
            (room, min(levels, default=max_uv)) if side == "below" else (max(levels, default=0), max_uv)
        )
        if side == "below" and not least <= band.low_uv <= band.high_uv < most - room:
            yield Mistake(
                (*where, side),
                f"must lie from {format_voltage(room)} up and below trip and clear; write a lower one",
            )
        if side == "above" and not least + room < band.low_uv <= band.high_uv <= most - room:
            yield Mistake(
                (*where, side),
                f"must lie above trip and clear and at most at {format_voltage(max_uv - room)}, so that the fixture can "
                "go beyond it; write another",
            )


def _in_ppm(sensor: SensorForm, path: Path) -> Iterator[Path]:
    """Where this sensor has a level in ppm."""
    for written in sensor.points or {}:
        if parse_gas(written).unit == PPM:
            yield (*path, "points", written)
    for key in ("trip", "clear"):
        ends = ends_of(sensor.at(key))
        if ends is not None and ends[0].unit == PPM:
            yield (*path, key)
    claim = sensor.trip_at_most
    if isinstance(claim, Level) and claim.unit == PPM:
        yield (*path, "trip_at_most")


def _rises(sensor: SensorForm, lfl_ppm: float | None) -> bool:
    points = points_of(sensor, lfl_ppm)
    return points[-1][1] > points[0][1]


def _apart(trip: Band, clear: Band, rises: bool, path: Path) -> Iterator[Mistake]:
    if not (clear.high_uv < trip.low_uv if rises else clear.low_uv > trip.high_uv):
        yield Mistake(
            (*path, "clear"),
            "with its tolerance reaches the trip level with its tolerance; write a lower clear level",
        )


def _points(sensor: SensorForm, path: Path, max_uv: int, lfl_ppm: float | None) -> Iterator[Mistake]:
    points = points_of(sensor, lfl_ppm)
    levels = [level for level, _ in points]
    volts = [uv for _, uv in points]
    if len(points) < 2:
        return  # taken out as a mistake already
    if len(set(levels)) < len(levels):
        yield Mistake(path, "has one level twice; keep only one")
        return
    steps = [b - a for a, b in pairwise(volts)]
    if not (all(s > 0 for s in steps) or all(s < 0 for s in steps)):
        yield Mistake(path, "must rise all the way with the level, or fall all the way; correct the voltages")
    for level, written in (sensor.points or {}).items():
        if written > max_uv:
            yield Mistake(
                (*path, level),
                f"is above max ({format_voltage(max_uv)}); write a lower voltage, or a higher max",
            )
