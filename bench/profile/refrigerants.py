"""What is published of refrigerants' lower flammability limits: `refrigerants.csv`, read at run time.

LFL in vol % and in kg/m3 stand beside each other as published, each with
edition, source and how sure we are of it (words of `bench.profile.published`).
Neither is ever worked out from the other: of a blend the published mass may
be that of its worst fraction, whose molar mass nobody prints.  Of several
figures the first is the one that is used.  Levels in ppm go by the LFL in vol %.

A figure that profiles may have been judged by is never changed; a new one goes
below it.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cache
from pathlib import Path

from bench.errors import ProfileError
from bench.profile.published import IN_WORDS

TABLE = Path(__file__).with_name("refrigerants.csv")

_COLUMNS = ["refrigerant", "what", "value", "unit", "edition", "source", "certainty"]
BY_VOLUME, BY_MASS, MOLAR_MASS = "LFL by volume", "LFL by mass", "molar mass"
#: What may be true of a mildly flammable (A2L) refrigerant, unit and range.  Lower ends: LFL above 3.5 vol %
#: and 0.10 kg/m3 is what the class means (ASHRAE 34, seen at second hand); the upper ends are ours, and well
#: above all that is published; a molar mass beyond them is no refrigerant's.
_MAY_BE = {
    BY_VOLUME: ("vol%", 3.5, 30.0),
    BY_MASS: ("kg/m3", 0.10, 0.50),
    MOLAR_MASS: ("g/mol", 30.0, 250.0),
}
_PPM_PER_VOL_PERCENT = 10_000.0


@dataclass(frozen=True, slots=True)
class Figure:
    """One published value, in `unit` (vol%, kg/m3 or g/mol)."""

    value: float
    unit: str
    edition: str
    source: str
    certainty: str

    def __str__(self) -> str:
        """`14.4 vol% (edition …; source; seen at second hand only)`."""
        edition = "" if self.edition == "not given" else f"{self.edition}; "
        return f"{self.value:g} {self.unit} ({edition}{self.source}; {IN_WORDS[self.certainty]})"


@dataclass(frozen=True, slots=True)
class Refrigerant:
    """What is published of one refrigerant; of several figures the first is used."""

    name: str
    by_volume: tuple[Figure, ...]
    by_mass: tuple[Figure, ...]
    #: Of a pure fluid; empty for a blend.
    molar_mass: tuple[Figure, ...]

    @property
    def lfl_ppm(self) -> float | None:
        """ppm by volume at 100 %LFL; None where no LFL in vol % could be established."""
        return self.by_volume[0].value * _PPM_PER_VOL_PERCENT if self.by_volume else None


@cache
def refrigerants(path: Path = TABLE) -> Mapping[str, Refrigerant]:
    """The table by name, in its order.

    Raises ProfileError, one line for each row that cannot be right.
    """
    rows: dict[str, dict[str, list[Figure]]] = {}
    wrong: list[str] = []
    with path.open(newline="", encoding="utf-8") as file:
        reader = csv.DictReader(file)
        if reader.fieldnames != _COLUMNS:
            raise ProfileError(f"{path.name}:1: has other columns; write {','.join(_COLUMNS)}")
        for row in reader:
            said = _mistake(row)
            if said:
                wrong.append(f"{path.name}:{reader.line_num}: {row['refrigerant']}: {said}")
                continue
            figure = Figure(float(row["value"]), row["unit"], row["edition"], row["source"], row["certainty"])
            rows.setdefault(row["refrigerant"], {}).setdefault(row["what"], []).append(figure)
    if wrong:
        raise ProfileError("\n".join(wrong))
    return {
        name: Refrigerant(name, *(tuple(found.get(what, ())) for what in (BY_VOLUME, BY_MASS, MOLAR_MASS)))
        for name, found in rows.items()
    }


def _mistake(row: Mapping[str, str]) -> str | None:
    if None in row or None in row.values() or not all(row[c].strip() for c in _COLUMNS):
        return "needs something in every column; write `not given` where an edition is not known"
    if row["what"] not in _MAY_BE:
        return f"{row['what']!r} is no figure of this table; write one of {', '.join(_MAY_BE)}"
    unit, least, most = _MAY_BE[row["what"]]
    if row["unit"] != unit:
        return f"{row['what']} is in {row['unit']}; write it in {unit}, as published"
    if row["certainty"] not in IN_WORDS:
        return f"certainty {row['certainty']!r} is not known; write one of {', '.join(IN_WORDS)}"
    try:
        value = float(row["value"])
    except ValueError:
        value = math.nan
    if not least <= value <= most:
        return f"{row['what']} {row['value']} {unit} cannot be true of an A2L; write {least:g} to {most:g} {unit}"
    return None


def near(name: str) -> str | None:
    """The refrigerant that was probably meant."""
    table = refrigerants()
    close = get_close_matches(name.upper(), [n.upper() for n in table], 1)
    return next((n for n in table if close and n.upper() == close[0]), None)
