"""What a sensor's keys say together: points, levels and their bands, loss."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from bench.profile.build import DEFAULT_MAX_UV, band_of, lfl_ppm_of, points_of
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
    **dict.fromkeys(("points", "max", "ratiometric", "load", "trip_at_most"), ("analog",)),
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
    for index, way in enumerate(sensor.lost_by or () if sensor.kind not in ("contact", "modbus") else ()):
        if way not in fitting:
            fits = "[trouble], or []: a plain contact has no other way" if troubled else "open and short only"
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
