"""The words for a sensor's signal, as a signal for one board on this bench.

`leak` and `clear` go just so far that no reading inside the tolerances is left
open: one bound outside the band that the bound of the signal source widens.
Full scale would prove less: a board that trips too late would pass.
"""

from __future__ import annotations

from bench.judge.bounds import SIGNAL_BOUND_UV, signal_bound
from bench.profile.quantities import PPM, Level, parse_level
from bench.trace.records import Count, Value, Voltage
from firmware_ref.parameters import Sensor

#: What else may be written, in words.
_QUANTITY = {
    "analog": " or a quantity such as 20 %LFL or 1.3 V",
    "modbus": " or a quantity such as 20 %LFL",
}

ANALOG_WORDS = ("leak", "clear", "between", "open", "short")
MODBUS_WORDS = ("leak", "clear", "between", "open", "silent", "bad-crc", "exception", "fault", "end-of-life")
CONTACT_WORDS = ("leak", "normal", "clear")


def words(sensor: Sensor) -> tuple[str, ...]:
    """What may be written for this sensor besides a quantity."""
    if sensor.kind == "analog":
        beyond = (("below-range", sensor.below), ("above-range", sensor.above))
        return (*ANALOG_WORDS, *(word for word, band in beyond if band is not None))
    if sensor.kind == "trouble-contact":
        return (*CONTACT_WORDS, "trouble")
    if sensor.kind == "modbus":
        return MODBUS_WORDS
    return CONTACT_WORDS if sensor.kind == "contact" else (*CONTACT_WORDS, "open", "short")


def moves(sensor: Sensor, word: str, bound_uv: int = SIGNAL_BOUND_UV) -> tuple[tuple[str, Value], ...]:
    """The channels of one sensor and what each is brought to, in order, for a word or a quantity.

    `leak` and `clear` come with no trouble, `trouble` with no leak; it comes
    first and goes last, so that nothing else shows on the way.  Raises
    ValueError as `signal` does.
    """
    at_sensor = f"sensor.{sensor.name}", signal(sensor, word, bound_uv)
    if sensor.trouble_when is None:
        return (at_sensor,)
    at_trouble = f"sensor.{sensor.name}-trouble", _position(sensor.trouble_when, word == "trouble")
    return (at_trouble, at_sensor) if word == "trouble" else (at_sensor, at_trouble)


def _position(when: str, reports: bool) -> str:
    """What the fixture puts at a plain contact's terminal: `open` or `short`."""
    return "short" if reports is (when == "closed") else "open"


def signal(sensor: Sensor, word: str, bound_uv: int = SIGNAL_BOUND_UV) -> Value:
    """The signal at a sensor's own terminal that a word or a quantity (`20 %LFL`, `28000 ppm`, `1.3 V`, `1300 mV`) stands for.

    `bound_uv`: that of a voltage; the counts of a Modbus sensor are exact.
    Raises ValueError, one sentence, where the sensor has no such signal or the
    bench cannot make it.
    """
    if word not in words(sensor):
        if sensor.kind == "analog" and word[:1] in "0123456789.+-":
            return Voltage(_quantity_uv(sensor, word), bound_uv)
        if sensor.kind == "modbus" and word[:1] in "0123456789.+-":
            return Count(_quantity_count(sensor, word))
        quantity = _QUANTITY.get(sensor.kind, "")
        raise ValueError(
            f"{word!r} is no signal of this {sensor.kind} sensor; write {', '.join(words(sensor))}{quantity}"
        )
    if sensor.kind == "modbus":
        return _modbus_signal(sensor, word)
    if word in ("open", "short"):
        return word
    if sensor.kind in ("contact", "trouble-contact"):
        return _position(sensor.leak_when, word == "leak")
    if sensor.kind != "analog":
        return "leak" if word == "leak" else "normal"
    return Voltage(_inside(sensor, _level_uv(sensor, word, bound_uv)), bound_uv)


def _modbus_signal(sensor: Sensor, word: str) -> Value:
    assert sensor.modbus is not None
    if word in ("fault", "end-of-life") and not sensor.modbus.status_of(word):
        raise ValueError(f"{word!r}: no status bit of this sensor says so")
    if word not in ("leak", "clear", "between"):
        return word
    return Count(_level_uv(sensor, word, signal_bound(sensor)))


def _quantity_count(sensor: Sensor, text: str) -> int:
    level = parse_level(text)
    _needs_refrigerant(sensor, level, text)
    count = -1 if level.unit == "V" else sensor.uv_at(level.lfl(sensor.lfl_ppm))
    if not 0 <= count <= sensor.max_uv:
        raise ValueError(
            f"{text!r} is not what this modbus sensor can say; write a level of gas, as in 20 %LFL"
        )
    return count


def _needs_refrigerant(sensor: Sensor, level: Level, text: str) -> None:
    if level.unit == PPM and sensor.lfl_ppm is None:
        raise ValueError(
            f"{text} needs the refrigerant; write refrigerant: in the profile, or a level in %LFL or volts"
        )


def _quantity_uv(sensor: Sensor, text: str) -> int:
    level = parse_level(text)
    _needs_refrigerant(sensor, level, text)
    return _inside(sensor, int(level.value) if level.unit == "V" else sensor.uv_at(level.lfl(sensor.lfl_ppm)))


def _inside(sensor: Sensor, value_uv: int) -> int:
    if not 0 <= value_uv <= sensor.max_uv:
        raise ValueError(
            f"{value_uv / 1e6:.3f} V is outside 0 V to {sensor.max_uv / 1e6:g} V, "
            "which is all this sensor input may see; write a level inside"
        )
    return value_uv


def _level_uv(sensor: Sensor, word: str, bound_uv: int) -> int:
    assert sensor.trip is not None and sensor.clear is not None
    if word == "below-range" and sensor.below is not None:
        return sensor.below.low_uv - 2 * bound_uv
    if word == "above-range" and sensor.above is not None:
        return sensor.above.high_uv + 2 * bound_uv
    trip, clear = sensor.trip, sensor.clear
    if sensor.rising:
        leak_uv, clear_uv = trip.high_uv + 2 * bound_uv, clear.low_uv - 2 * bound_uv
        upper, lower = trip.low_uv, clear.high_uv
    else:
        leak_uv, clear_uv = trip.low_uv - 2 * bound_uv, clear.high_uv + 2 * bound_uv
        upper, lower = clear.low_uv, trip.high_uv
    if upper - lower <= 2 * bound_uv and sensor.kind == "modbus":
        raise ValueError("no count lies between trip and clear with their tolerances; write a finer scale")
    if upper - lower <= 2 * bound_uv:
        raise ValueError(
            f"trip and clear lie {(upper - lower) / 1e3:g} mV apart with their tolerances, and this bench's signal "
            f"is known to ±{bound_uv / 1e3:g} mV: leak and clear would cross; use a fixture with a finer signal"
        )
    if word == "leak":
        return leak_uv
    if word == "clear":
        return clear_uv
    if upper - lower < 4 * bound_uv and sensor.kind == "analog":
        raise ValueError(
            f"between trip and clear there are {(upper - lower) / 1e3:g} mV, "
            f"too few for a signal known to ±{bound_uv / 1e3:g} mV; leave `between` out"
        )
    return (upper + lower) // 2
