"""`profiles/README.md` lists every invented figure, gesture and code of the shipped profiles, each in its board's column."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from bench.profile import load, shipped

PAGE = Path(__file__).parent.parent.parent / "profiles" / "README.md"
WORDS = dict(
    zip(
        ["one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten"],
        range(1, 11),
        strict=True,
    )
)
#: In s, V and %LFL.
UNITS = {"s": 1.0, "ms": 1e-3, "min": 60.0, "V": 1.0, "mV": 1e-3, "%LFL": 1.0, "Hz": 1.0}
UNIT = r"(s|ms|min|V|mV|%LFL|Hz)\b"
NUMBER = r"(?<![-\d.])(\d+(?:\.\d+)?)"
#: Key of `button` to what the row's label has.
GESTURES = {"press": "press of the button", "acts": "button acts", "self_test": "self-test", "recall": "recall",
            "clear_faults": "faults cleared", "reset": "fault reset"}  # fmt: skip
Interval = tuple[float, float]


def columns() -> dict[str, dict[str, str]]:
    """Board to label of the row to its cell; `the same` is what stands to the left."""
    rows = [
        line.strip("|").split("|") for line in PAGE.read_text("utf-8").splitlines() if line.startswith("|")
    ]
    names = [cell.strip(" `") for cell in rows[0][1:]]
    found: dict[str, dict[str, str]] = {name: {} for name in names}
    for label, *cells in rows[2:]:
        before = ""
        for name, cell in zip(names, cells, strict=True):
            before = found[name][label.strip()] = cell.strip().replace("the same", before)
    return found


def intervals(text: str) -> set[Interval]:
    """What is written as `5 ± 2 s`, `within 1 s`, `2 s to 6 s`, `30 ms`."""
    found: set[Interval] = set()
    for a, unit, b, last in re.findall(rf"{NUMBER} ?(?:{UNIT} )?± {NUMBER} {UNIT}", text):
        middle, half = float(a) * UNITS[unit or last], float(b) * UNITS[last]
        found.add((middle - half, middle + half))
    for a, unit, b, last in re.findall(rf"{NUMBER} ?(?:{UNIT} )?to {NUMBER} {UNIT}", text):
        found.add((float(a) * UNITS[unit or last], float(b) * UNITS[last]))
    for a, unit in re.findall(rf"within {NUMBER} {UNIT}", text):
        found.add((0.0, float(a) * UNITS[unit]))
    for a, unit in re.findall(rf"{NUMBER} {UNIT}", text):
        found.add((float(a) * UNITS[unit],) * 2)
    return {(round(a, 9), round(b, 9)) for a, b in found}


def quantity(text: str) -> float:
    number, unit = text.split()
    return float(number) * UNITS[unit]


def stated(data: Any, path: tuple[str, ...] = ()) -> Iterator[tuple[tuple[str, ...], Any]]:
    """Every figure, code and count of a profile: its keys, and an interval, a text or a number."""
    if isinstance(data, dict) and "nominal" in data:
        a, b = quantity(data["nominal"]), quantity(data["tolerance"])
        yield path, (round(a - b, 9), round(a + b, 9))
    elif isinstance(data, dict) and "within" in data and len(data) == 1 and isinstance(data["within"], str):
        yield path, (0.0, round(quantity(data["within"]), 9))
    elif isinstance(data, dict) and "between" in data:
        a, b = map(quantity, data["between"])
        yield path, (round(a, 9), round(b, 9))
    elif isinstance(data, dict):
        for key, value in data.items():
            if re.fullmatch(rf"{NUMBER} {UNIT}", str(key)):  # a point of a sensor's line
                yield path, (round(quantity(str(key)), 9),) * 2
            yield from stated(value, (*path, str(key)))
    elif isinstance(data, str) and re.fullmatch(rf"{NUMBER} {UNIT}", data):
        yield path, (round(quantity(data), 9),) * 2
    elif (isinstance(data, int) and not isinstance(data, bool)) or (
        isinstance(data, str) and "flash" in data
    ):
        yield path, data


def rows_of(path: tuple[str, ...], column: dict[str, str]) -> str:
    """The cells in which a figure must stand: of `timing` and `button` those of its own name, else any."""
    name = (
        path[-1]
        .replace("_", " ")
        .replace("through", "-through")
        .replace(" -", "-")
        .replace("warm up", "warm-up")
    )
    own = [cell for label, cell in column.items() if path[0] == "timing" and label.startswith(name)]
    if path[0] == "button":
        own = [cell for label, cell in column.items() if GESTURES[path[1]] in label]
    return "; ".join(own or column.values())


@pytest.mark.parametrize("name", shipped())
def test_every_figure_is_listed(name: str) -> None:
    column = columns()[name]
    missing = []
    for path, value in stated({k: v for k, v in load(name).data.items() if k != "wiring"}):
        text = rows_of(path, column)
        if isinstance(value, tuple):
            there = value in intervals(text)
        elif isinstance(value, str):
            count, _, what = value.partition(" ")
            there = any(f"{word} {what}" in text for word, n in WORDS.items() if str(n) == count)
        elif path[-1] == "presses":
            there = any(f"{word} presses" in text for word, n in WORDS.items() if n == value)
        else:
            there = re.search(rf"\b{value}\b", text) is not None
        if not there:
            missing.append(f"{'.'.join(path)}: {value}")
    assert not missing, missing


def test_a_figure_that_is_not_listed_would_be_missed() -> None:
    assert (4.0, 6.0) not in intervals("5 ± 2 s, within 6 s")
    assert intervals("7 min ± 5 s") >= {(415.0, 425.0)}
    assert intervals("20 to 80 ms; 3 ± 0.2 s") >= {(0.02, 0.08), (2.8, 3.2)}
