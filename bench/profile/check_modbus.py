"""What the keys of a Modbus sensor say together: its bus, its registers, its levels, loss."""

from __future__ import annotations

from collections.abc import Iterator

from bench.profile.build import MOST_COUNTS, band_of, counts_of, scale_of
from bench.profile.form import SensorForm
from bench.profile.intervals import ends_of
from bench.profile.mistakes import Mistake
from bench.profile.quantities import PPM, Level
from bench.profile.refrigerants import refrigerants
from bench.profile.yamltext import Path

_NEEDS = {
    "bus": "{address: 17, baud: 9600, parity: even, function: 4}",
    "registers": "{concentration: {number: 2, scale: 0.1 %LFL}}",
    "trip": "{nominal: 18 %LFL, tolerance: 2 %LFL}",
    "clear": "{nominal: 10 %LFL, tolerance: 2 %LFL}",
}
#: How a Modbus sensor can be lost, and the key of the status bit that two of the ways need.
WAYS = {"silent": None, "bad-crc": None, "exception": None, "fault": "fault", "end-of-life": "end_of_life"}
#: One question reads so many registers at most (Modbus application protocol, 6.3 and 6.4).
_AT_ONCE = 125


def modbus_mistakes(
    sensor: SensorForm, path: Path, refrigerant: str | None, lfl_ppm: float | None
) -> Iterator[Mistake]:
    """`path`: where the sensor stands; `lfl_ppm`: ppm at 100 %LFL, None where it is not known."""
    for key, example in _NEEDS.items():
        if sensor.at(key) is None:
            yield Mistake((*path, key), f"is missing; write for example {example}")
    registers = sensor.registers
    status = registers.status if registers is not None else None
    for index, way in enumerate(sensor.lost_by or ()):
        where = (*path, "lost_by", index)
        if way not in WAYS:
            yield Mistake(where, f"is {way}, which a modbus sensor cannot be; write one of {', '.join(WAYS)}")
        elif registers is not None and WAYS[way] and (status is None or status.at(WAYS[way] or "") is None):
            yield Mistake(
                where,
                f"is {way}, and no status bit says so; write registers.status.{WAYS[way]}, or remove it",
                unless=(*path, "registers", "status", WAYS[way]),
            )
    if registers is None or registers.concentration is None:
        return
    if status is not None:
        yield from _status(sensor, (*path, "registers", "status"))
    if registers.concentration.scale is not None:
        in_ppm = list(_in_ppm(sensor, path)) if lfl_ppm is None else []
        if not in_ppm:
            yield from _levels(sensor, path, lfl_ppm)
        elif refrigerant is None or refrigerant in refrigerants():
            for where in in_ppm:
                yield Mistake(
                    where, "is in ppm, which needs the refrigerant; write for example refrigerant: R-32"
                )


def _in_ppm(sensor: SensorForm, path: Path) -> Iterator[Path]:
    if scale_of(sensor).unit == PPM:
        yield (*path, "registers", "concentration", "scale")
    for key in ("trip", "clear"):
        ends = ends_of(sensor.at(key))
        if ends is not None and ends[0].unit == PPM:
            yield (*path, key)


def _status(sensor: SensorForm, path: Path) -> Iterator[Mistake]:
    status, concentration = sensor.registers.status, sensor.registers.concentration
    if status.number is None or concentration.number is None:
        return
    apart = abs(status.number - concentration.number)
    if apart == 0:
        yield Mistake((*path, "number"), "is the register of the concentration; write the number of another")
    elif apart >= _AT_ONCE:
        yield Mistake(
            (*path, "number"),
            f"is {apart} registers from the concentration; the fixture plays at most {_AT_ONCE} in a row",
        )
    if status.fault is not None and status.fault == status.end_of_life:
        yield Mistake((*path, "end_of_life"), f"is bit {status.fault}, as is fault; give each its own")


def _levels(sensor: SensorForm, path: Path, lfl_ppm: float | None) -> Iterator[Mistake]:
    scale = scale_of(sensor)
    if scale.value == 0:
        yield Mistake(
            (*path, "registers", "concentration", "scale"),
            f"is {scale}; write what one count is, as in 0.1 %LFL",
        )
        return
    bands = {}
    for key in ("trip", "clear"):
        ends = ends_of(sensor.at(key))
        if ends is None:
            continue
        if ends[0].unit == "V":
            yield Mistake((*path, key), "is a voltage, and a modbus sensor has none; write it in %LFL or ppm")
        elif ends[1].lfl(lfl_ppm) > 100:
            yield Mistake((*path, key), "reaches above 100 %LFL; write a lower level or tolerance")
        elif counts_of(sensor, ends[1], lfl_ppm) >= MOST_COUNTS:
            most = Level(scale.unit, scale.value * MOST_COUNTS)
            yield Mistake(
                (*path, key),
                f"is more than a register can hold at this scale ({most}); write a coarser scale",
            )
        else:
            band = bands[key] = band_of(sensor, ends, lfl_ppm)
            if band.low_uv > band.high_uv or band.low_uv < 1:
                del bands[key]
                yield Mistake(
                    (*path, key),
                    f"lies between two counts of {scale}, or reaches down to 0; "
                    "write a finer scale, or a wider tolerance",
                )
    if len(bands) == 2 and not bands["clear"].high_uv < bands["trip"].low_uv:
        yield Mistake(
            (*path, "clear"),
            "with its tolerance reaches the trip level with its tolerance; write a lower clear level",
        )
