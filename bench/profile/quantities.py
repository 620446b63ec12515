"""Durations, voltages and levels as people write them: a number, a unit, nothing else.

`6 min`, `250 ms`, `1.8 V`, `18 %LFL`, `25000 ppm`.  A bare number is refused, because
nobody can tell which unit was meant.  Inside everything is integer
microseconds and microvolts; nothing is rounded in silence.

Every parser raises `ValueError` with one sentence fragment (`needs a unit:
write 6 s or 6 min`), to which the caller adds where it stood.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

#: Microseconds of each unit, the names in the order in which they are offered.
TIME_UNITS = {"us": 1, "ms": 1_000, "s": 1_000_000, "min": 60_000_000, "h": 3_600_000_000}
#: Microvolts of each unit.
VOLT_UNITS = {"mV": 1_000, "V": 1_000_000}
LFL = "%LFL"
PPM = "ppm"
#: Parts per million of all that is there.
ALL_PPM = 1_000_000

#: Longer than any timing of a board or wait of a procedure; a guard against slips of the pen.
LONGEST_US = 24 * 3_600_000_000
#: The most that is written for an extra-low-voltage signal.
HIGHEST_UV = 60_000_000

_NUMBER = r"[0-9]{1,9}(?:\.[0-9]{1,9})?"
_WRITTEN = re.compile(r"\s*([+-]?[0-9][0-9.,_eE+-]*|[+-]?\.[0-9]+)\s*([A-Za-zµμ%].*?)?\s*")

#: What `parse_duration` and `parse_level` accept, for the JSON Schema (which cannot check sizes).
DURATION_PATTERN = rf"^\s*{_NUMBER}\s*(?:us|µs|ms|s|min|h)\s*$"
LEVEL_PATTERN = rf"^\s*{_NUMBER}\s*(?:mV|V|ppm|%\s?LFL)\s*$"
VOLTAGE_PATTERN = rf"^\s*{_NUMBER}\s*(?:mV|V)\s*$"
GAS_PATTERN = rf"^\s*{_NUMBER}\s*(?:ppm|%\s?LFL)\s*$"


@dataclass(frozen=True, slots=True)
class Level:
    """A sensor level as written.  `unit` `%LFL`, `ppm` (by volume): `value` in it; `V`: `value` in uV."""

    unit: str
    value: Decimal

    def __str__(self) -> str:
        if self.unit == PPM:
            return f"{_plain(self.value)} {PPM}"
        return format_lfl(float(self.value)) if self.unit == LFL else format_voltage(int(self.value))

    def lfl(self, lfl_ppm: float | None) -> float:
        """Percent of the LFL of a level of gas; `lfl_ppm`: ppm at 100 %LFL, which a level in ppm needs."""
        if self.unit == LFL:
            return float(self.value)
        assert self.unit == PPM and lfl_ppm is not None
        return 100 * float(self.value) / lfl_ppm


def parse_duration(text: Any) -> int:
    """Whole microseconds of `6 min`, `1.5 s`, `250 ms`.  0 up to 24 h."""
    number, unit = _split(text, tuple(TIME_UNITS), "6 min, 1.5 s or 250 ms", {"µs": "us", "μs": "us"})
    us = _whole(number * TIME_UNITS[unit], text, "1 us")
    if us > LONGEST_US:
        raise ValueError(f"is {str(text).strip()}, longer than 24 h; write a shorter time")
    return us


def parse_voltage(text: Any) -> int:
    """Whole microvolts of `1.8 V` or `250 mV`.  0 up to 60 V."""
    number, unit = _split(text, tuple(VOLT_UNITS), "1.8 V or 250 mV", {})
    return _microvolts(number, unit, text)


def parse_lfl(text: Any) -> float:
    """Percent of the lower flammability limit of `18 %LFL`.  0 up to 100."""
    number, _ = _split(text, (LFL,), "18 %LFL", {"% LFL": LFL})
    return _percent(number, text)


def parse_gas(text: Any) -> Level:
    """A level of gas, `18 %LFL` or `25000 ppm`."""
    number, unit = _split(text, (LFL, PPM), "18 %LFL or 25000 ppm", {"% LFL": LFL})
    return _gas(number, unit, text)


def parse_level(text: Any) -> Level:
    """A sensor level, `18 %LFL`, `25000 ppm`, `1.8 V` or `250 mV`."""
    number, unit = _split(text, (LFL, PPM, *VOLT_UNITS), "18 %LFL or 1.8 V", {"% LFL": LFL})
    if unit in VOLT_UNITS:
        return Level("V", Decimal(_microvolts(number, unit, text)))
    return _gas(number, unit, text)


def _gas(number: Decimal, unit: str, text: Any) -> Level:
    if unit == LFL:
        _percent(number, text)
    elif number > ALL_PPM:
        raise ValueError(f"is {str(text).strip()}, more than all; write at most {ALL_PPM} ppm")
    return Level(unit, number)


def format_duration(us: int) -> str:
    """The shortest exact way to write a time: `6 min`, `1.5 s`, `250 ms`."""
    for unit in ("h", "min"):
        if us and us % TIME_UNITS[unit] == 0:
            return f"{us // TIME_UNITS[unit]} {unit}"
    for unit in ("s", "ms"):
        if abs(us) >= TIME_UNITS[unit]:
            return f"{_plain(Decimal(us) / TIME_UNITS[unit])} {unit}"
    return f"{us} us" if us else "0 s"


def format_voltage(uv: int) -> str:
    """`1.8 V`, `20 mV`."""
    unit = "V" if abs(uv) >= 100_000 or uv == 0 else "mV"
    return f"{_plain(Decimal(uv) / VOLT_UNITS[unit])} {unit}"


def format_lfl(level: float) -> str:
    """`18 %LFL`."""
    return f"{_plain(Decimal(str(round(level, 6))))} {LFL}"


def _plain(number: Decimal) -> str:
    return f"{number.normalize():f}"


def _split(text: Any, units: tuple[str, ...], example: str, spellings: dict[str, str]) -> tuple[Decimal, str]:
    """The number and the unit of a quantity, or a sentence fragment that says what to write."""
    if isinstance(text, bool) or not isinstance(text, (int, float, str)):
        raise ValueError(f"must be a number with a unit; write for example {example}")
    written = str(text).strip()
    found = _WRITTEN.fullmatch(written)
    if found is None:
        raise ValueError(f"is {written[:40]!r}, which is no number with a unit; write for example {example}")
    digits, unit = found[1], found[2]
    offered = ", ".join(units[:-1]) + f" or {units[-1]}" if len(units) > 1 else units[0]
    if unit is None:
        raise ValueError(f"is {digits}, a bare number; add the unit ({offered}), for example {example}")
    if digits.startswith("-"):
        raise ValueError(f"is {written}, less than 0; write 0 or more")
    if re.fullmatch(_NUMBER, digits) is None:
        raise ValueError(
            f"is {written[:40]!r}, whose number cannot be read; write plain digits, as in {example}"
        )
    unit = spellings.get(unit, unit)
    if unit not in units:
        raise ValueError(f"has the unit {unit[:20]!r}; the units here are {offered}, as in {example}")
    return Decimal(digits), unit


def _whole(number: Decimal, text: Any, step: str) -> int:
    if number != number.to_integral_value():
        raise ValueError(f"is {str(text).strip()}, finer than {step}; write fewer decimals")
    return int(number)


def _microvolts(number: Decimal, unit: str, text: Any) -> int:
    uv = _whole(number * VOLT_UNITS[unit], text, "1 uV")
    if uv > HIGHEST_UV:
        raise ValueError(
            f"is {str(text).strip()}, above {format_voltage(HIGHEST_UV)}; write a signal voltage"
        )
    return uv


def _percent(number: Decimal, text: Any) -> float:
    if number > 100:
        raise ValueError(f"is {str(text).strip()}, above 100 %LFL; write 0 to 100 %LFL")
    return float(number)


CODE_PATTERN = "^(dark|steady|1 flash|([2-9]|1[0-9]|20) flashes)$"


def parse_code(text: object) -> str:
    """What a light shows: `dark`, `steady`, `1 flash`, `2 flashes` up to `20 flashes`.  Raises ValueError."""
    if isinstance(text, str) and re.match(CODE_PATTERN, text):
        return text
    raise ValueError(f"is {text}, which is no code; write dark, steady, 1 flash or, as in 5 flashes, 2 to 20")
