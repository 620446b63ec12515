"""Sheets of the schematic: read from `sheets/*.sheet`, and what is connected to what, found from the drawing itself.

The netlist is not written down a second time: pins, wire ends and labels that
lie on one another are one net, so the picture and what ngspice is given cannot
differ.  The form of a line is in `README.md` beside this file.
"""

from __future__ import annotations

import csv
import itertools
import shlex
from collections.abc import Hashable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Generic, TypeVar

from hardware.schematic.symbols import SYMBOLS, Point

HERE = Path(__file__).parent
SHEETS = HERE / "sheets"
HARDWARE = HERE.parent

#: Controller pins, outside terminals, and everything else (rails) are told apart by the first letter of a label.
PIN, TERMINAL = "@", "="

Thing = TypeVar("Thing", bound=Hashable)


class SheetError(Exception):
    """A sheet cannot be read; names file and line."""


@dataclass(frozen=True)
class Part:
    """`value` is a key of values.csv, or "-" for none; `only` the use in which alone it is fitted."""

    kind: str
    ref: str
    x: int
    y: int
    turn: int
    flip: bool
    value: str
    only: str | None = None

    def place(self, point: Point) -> Point:
        """A point of the symbol, on the sheet."""
        x, y = point
        if self.flip:
            y = -y
        for _ in range(self.turn // 90):
            x, y = -y, x
        return self.x + x, self.y + y

    def pins(self) -> dict[str, Point]:
        return {name: self.place(point) for name, point in SYMBOLS[self.kind].pins.items()}


@dataclass(frozen=True)
class Box:
    """A ready-made part: a rectangle with named pins left and right, two units apart."""

    ref: str
    x: int
    y: int
    width: int
    title: str
    left: tuple[str, ...]
    right: tuple[str, ...]
    value: str

    @property
    def height(self) -> int:
        return 2 * max(len(self.left), len(self.right)) + 2

    def pins(self) -> dict[str, Point]:
        left = {name: (self.x - 1.0, self.y + 2.0 + 2 * n) for n, name in enumerate(self.left) if name != "-"}
        right = {
            name: (self.x + self.width + 1.0, self.y + 2.0 + 2 * n)
            for n, name in enumerate(self.right)
            if name != "-"
        }
        return left | right


@dataclass(frozen=True)
class Label:
    name: str
    x: int
    y: int
    side: str


@dataclass
class Sheet:
    name: str
    title: str = ""
    copies: list[str] = field(default_factory=list)
    serves: list[str] = field(default_factory=list)
    parts: list[Part] = field(default_factory=list)
    boxes: list[Box] = field(default_factory=list)
    wires: list[list[Point]] = field(default_factory=list)
    labels: list[Label] = field(default_factory=list)
    texts: list[tuple[int, int, str]] = field(default_factory=list)
    barriers: list[tuple[int, int, int, str]] = field(default_factory=list)

    def fitted(self) -> list[Part | Box]:
        """All that is a part."""
        return [*self.parts, *self.boxes]

    def all_pins(self) -> Iterator[tuple[str, str, Point]]:
        """(reference, pin, where) of every pin."""
        for part in self.fitted():
            for pin, point in part.pins().items():
                yield part.ref, pin, point

    def nets(self) -> dict[Point, str]:
        """Every connected point -> the name of its net: its label, else one made from a pin on it."""
        join = Join[Point]()
        for wire in self.wires:
            for a, b in itertools.pairwise(wire):
                join.together(a, b)
        points = {p for wire in self.wires for p in wire}
        points |= {p for _, _, p in self.all_pins()} | {(float(one.x), float(one.y)) for one in self.labels}
        for point in points:
            for wire in self.wires:
                for a, b in itertools.pairwise(wire):
                    if touches(point, a, b):
                        join.together(point, a)
        named: dict[str, Point] = {}
        for one in self.labels:
            join.together((one.x, one.y), named.setdefault(one.name, (one.x, one.y)))
        names = {join.root((one.x, one.y)): one.name for one in self.labels}
        for ref, pin, point in self.all_pins():
            names.setdefault(join.root(point), f"{ref}.{pin}")
        return {point: names.get(join.root(point), f"loose {point}") for point in points}

    def pin_nets(self) -> dict[tuple[str, str], str]:
        """(reference, pin) -> net."""
        nets = self.nets()
        return {(ref, pin): nets[point] for ref, pin, point in self.all_pins()}


class Join(Generic[Thing]):
    """Which things are one."""

    def __init__(self) -> None:
        self._parent: dict[Thing, Thing] = {}

    def root(self, thing: Thing) -> Thing:
        parent = self._parent.setdefault(thing, thing)
        while parent != self._parent[parent]:
            parent = self._parent[parent]
        self._parent[thing] = parent
        return parent

    def together(self, a: Thing, b: Thing) -> None:
        self._parent[self.root(a)] = self.root(b)


def touches(point: Point, a: Point, b: Point) -> bool:
    """Whether a point lies on an upright or level piece of wire."""
    (x, y), (ax, ay), (bx, by) = point, a, b
    if ax == bx:
        return x == ax and min(ay, by) <= y <= max(ay, by)
    return y == ay and min(ax, bx) <= x <= max(ax, bx)


def read_sheet(path: Path) -> Sheet:
    """Raises SheetError naming line and mistake."""
    sheet = Sheet(path.stem)
    for number, line in enumerate(path.read_text("utf-8").splitlines(), 1):
        words = shlex.split(line, comments=True)
        if not words:
            continue
        try:
            _take(sheet, words[0], words[1:])
        except (ValueError, KeyError, IndexError) as wrong:
            raise SheetError(f"{path.name}:{number}: {line.strip()}: {wrong}") from wrong
    refs = [p.ref for p in sheet.fitted()]
    if twice := {r for r in refs if refs.count(r) > 1}:
        raise SheetError(f"{path.name}: two parts are called {', '.join(sorted(twice))}")
    return sheet


def read_sheets() -> list[Sheet]:
    """All sheets, in order of their names."""
    return [read_sheet(path) for path in sorted(SHEETS.glob("*.sheet"))]


def _take(sheet: Sheet, word: str, rest: list[str]) -> None:
    if word == "title":
        (sheet.title,) = rest
    elif word == "copies":
        sheet.copies += rest
    elif word == "serves":
        sheet.serves += rest
    elif word == "part":
        kind, ref, x, y, turn, value, *extra = rest
        if kind not in SYMBOLS:
            raise ValueError(f"there is no symbol {kind}")
        options = dict(one.split("=") for one in extra)
        flip = turn.endswith("f")
        sheet.parts.append(
            Part(kind, ref, int(x), int(y), int(turn.rstrip("f")), flip, value, options.get("only"))
        )
    elif word == "box":
        ref, x, y, width, title, left, right, value = rest
        pins = [tuple(one.split(",")) if one else () for one in (left, right)]
        sheet.boxes.append(Box(ref, int(x), int(y), int(width), title, pins[0], pins[1], value))
    elif word == "wire":
        points: list[Point] = [(int(x), int(y)) for x, y in (one.split(",") for one in rest)]
        if len(points) < 2:
            raise ValueError("a wire has two ends")
        for (ax, ay), (bx, by) in itertools.pairwise(points):
            if ax != bx and ay != by:
                raise ValueError("a wire runs level or upright")
        sheet.wires.append(points)
    elif word == "label":
        name, x, y, side = rest
        if side not in ("l", "r", "u", "d"):
            raise ValueError("a label stands l, r, u or d of its point")
        sheet.labels.append(Label(name, int(x), int(y), side))
    elif word == "text":
        x, y, words = rest
        sheet.texts.append((int(x), int(y), words))
    elif word == "barrier":
        x, top, bottom, words = rest
        sheet.barriers.append((int(x), int(top), int(bottom), words))
    else:
        raise ValueError(f"no line begins with {word}")


# -- tables ----------------------------------------------------------------------------------


@dataclass(frozen=True)
class Value:
    """One row of values.csv.  `value` in ohm, farad, volt, henry, ampere or as the unit says; `tolerance` as a share.

    `what`: the part that is bought, empty for a property.
    """

    value: float
    tolerance: float
    what: str

    def least(self) -> float:
        return self.value * (1 - self.tolerance)

    def most(self) -> float:
        return self.value * (1 + self.tolerance)


_PREFIX = {"p": 1e-12, "n": 1e-9, "u": 1e-6, "m": 1e-3, "k": 1e3, "M": 1e6}


def number(text: str) -> float:
    """`4.7k` -> 4700."""
    return float(text[:-1]) * _PREFIX[text[-1]] if text[-1] in _PREFIX else float(text)


def read_values() -> dict[str, Value]:
    rows = table(HERE / "values.csv")
    return {
        r["key"]: Value(number(r["value"]), float(r["tolerance"].rstrip(" %")) / 100, r["part"]) for r in rows
    }


def written(key: str) -> str:
    """A value as it stands in the table, with its unit: `1.5 kΩ`."""
    row = _WRITTEN.get(key)
    if row is None:
        return ""
    text, unit = row
    sign = {"ohm": "Ω", "F": "F", "V": "V", "H": "H", "A": "A"}.get(unit)
    if sign is None:
        return ""
    if text[-1] in _PREFIX:
        return f"{text[:-1]} {text[-1].replace('u', 'µ')}{sign}"
    return f"{text} {sign}"


def table(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


_WRITTEN = {r["key"]: (r["value"], r["unit"]) for r in table(HERE / "values.csv")}


def pins() -> list[dict[str, str]]:
    """Rows of the pin table, each with the kind of its channel."""
    kinds = {r["number"]: r["kind"] for r in table(HARDWARE / "channels.csv")}
    return [dict(r, kind=kinds.get(r["channel"], "-")) for r in table(HARDWARE / "fixture" / "pins.csv")]


def rows_of(use: str) -> list[dict[str, str]]:
    """Rows of the pin table that a use such as `call.voltage` or `main.drive` (kind or name, role) names."""
    who, _, role = use.rpartition(".")
    return [r for r in pins() if r["role"] == role and who in (r["kind"], r["name"])]


def copies(sheet: Sheet, only: str | None = None) -> int:
    """How often a sheet is built; for a part that is fitted in one use only, how often that is."""
    if only is not None:
        return len(rows_of(only))
    return sum(len(rows_of(use)) for use in sheet.copies) or 1
