"""The drawing is a circuit: nothing hangs in the air, the barriers hold, pins and channels are those of the tables."""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import pytest

from hardware.schematic import sheet as sheets
from hardware.schematic.sheet import Sheet, SheetError, pins, read_sheet, read_sheets, read_values, rows_of
from hardware.schematic.symbols import Point

SHEETS = {one.name: one for one in read_sheets()}
#: Roles by which the controller drives something: a pull resistor must hold each of them off.
DRIVEN = ("drive", "connect", "short", "normal", "leak", "pwm")
#: What parts two circuits: its left and right side, or its first and last two pins.
PARTED = ("main.supply", "rail.loop", "rail.measure", "rms.isolator", "usb.isolator")


@pytest.mark.parametrize("name", SHEETS)
def test_nothing_hangs_in_the_air(name: str) -> None:
    sheet = SHEETS[name]
    nets = Counter(sheet.pin_nets().values())
    labels = Counter(label.name for label in sheet.labels)
    assert [net for net, count in nets.items() if count == 1 and not labels[net]] == []
    assert [
        name for name, count in labels.items() if not nets[name] and count + _wired(sheet, name) < 2
    ] == []
    fixed = {point for _, _, point in sheet.all_pins()} | {(label.x, label.y) for label in sheet.labels}
    for n, wire in enumerate(sheet.wires):
        others = [w for m, w in enumerate(sheet.wires) if m != n]
        for end in (wire[0], wire[-1]):
            assert end in fixed or any(_touches(end, other) for other in others), f"{end} ends nowhere"


def _wired(sheet: Sheet, name: str) -> int:
    """How many other labels are on the same net."""
    nets = sheet.nets()
    (first, *_) = [label for label in sheet.labels if label.name == name]
    here = nets[first.x, first.y]
    same = {label.name for label in sheet.labels if nets[label.x, label.y] == here}
    return len(same - {name})


def _touches(point: Point, wire: list[Point]) -> bool:
    return any(sheets.touches(point, a, b) for a, b in itertools.pairwise(wire))


def test_values_and_parts_are_one_list() -> None:
    used = {p.value for sheet in SHEETS.values() for p in sheet.fitted()} - {"-"}
    values = read_values()
    assert used <= values.keys()
    assert {key for key, row in values.items() if row.what} <= used
    assert {key for key in used if not values[key].what} == {"coil.linked"}  # a property of the relay


def test_every_pin_of_the_controller_ends_on_one_sheet() -> None:
    served = Counter(
        (r["name"], r["role"]) for s in SHEETS.values() for use in s.serves for r in rows_of(use)
    )
    assert served == Counter((row["name"], row["role"]) for row in pins())


@pytest.mark.parametrize("name", SHEETS)
def test_labels_of_pins_are_those_that_a_sheet_serves(name: str) -> None:
    sheet = SHEETS[name]
    on_sheet = {label.name[1:] for label in sheet.labels if label.name.startswith("@")}
    inputs = {label for label in on_sheet if label.startswith("SPI")}
    roles = {use.rpartition(".")[2] for use in sheet.serves}
    alike = {"drive": ("connect", "short", "normal", "leak"), "sense": ("voltage",)}
    labelled = {label.rpartition(".")[2] for label in on_sheet - inputs}
    assert labelled <= roles
    assert roles <= labelled | {other for role in labelled for other in alike.get(role, ())}
    if inputs:
        assert inputs == {row["pin"] for row in pins() if row["role"] in ("before", "after")}


def test_every_driven_pin_is_held_off_by_a_resistor() -> None:
    held = set()
    for sheet in SHEETS.values():
        nets = sheet.pin_nets()
        pulled = {
            nets[p.ref, a]
            for p in sheet.parts
            if p.kind == "R"
            for a, b in (("1", "2"), ("2", "1"))
            if nets[p.ref, b] == "LGND"
        }
        for use in sheet.serves:
            role = use.rpartition(".")[2]
            label = "@drive" if role in DRIVEN[:-1] else f"@{role}"
            if role in DRIVEN and label in pulled:
                held |= {(row["name"], row["role"]) for row in rows_of(use)}
    assert held == {(row["name"], row["role"]) for row in pins() if row["role"] in DRIVEN}


def test_no_part_bridges_a_barrier() -> None:
    circuit = _circuit(list(SHEETS.values()))
    logic, line = circuit("LGND"), circuit("C")
    assert {circuit(n) for n in ("+12V", "+5V", "+5.5V", "-5V", "+5 REF", "CLAMP", "=SENSOR COM")} == {logic}
    assert {circuit(n) for n in ("R IN", "R MAIN", "S", "+12 G", "=R BOARD", "CALL FEED", "+5 M")} == {line}
    apart = [logic, line, circuit("0 A"), circuit("=BUTTON 1"), circuit("=COMPUTER")]
    assert len(set(apart)) == len(apart)
    assert circuit("=ALARM") == circuit("0 A")  # through the loop
    assert circuit("=CALL") == circuit("CALL FEED") == line


def test_a_bridge_would_be_noticed(tmp_path: Path) -> None:
    text = (sheets.SHEETS / "05-ac-input.sheet").read_text("utf-8")
    bad = tmp_path / "05-ac-input.sheet"
    bad.write_text(text + "part R R9 22 18 0 ac.pull_up\nwire 22,14 22,18\nwire 26,18 28,18 28,14\n", "utf-8")
    circuit = _circuit([read_sheet(bad)])
    assert circuit("LGND") == circuit("C")


def _circuit(all_sheets: list[Sheet]) -> Callable[[str], tuple[str, str]]:
    """Net -> which circuit it is part of.  Optocouplers, relay coils and isolated supplies part circuits.

    A label is the same net on all sheets, but for the pins and terminals of
    the single channels, which are so on their own sheet only.
    """
    join = sheets.Join[tuple[str, str]]()
    local = ("@", "=SENSED", "=SENSOR", "SIG", "AC", "CHAIN")

    def place(sheet: Sheet, net: str) -> tuple[str, str]:
        own = net not in {label.name for label in sheet.labels} or (
            net.startswith(local) and net not in ("=SENSOR COM",)
        )
        return (sheet.name if own else "", net)

    for sheet in all_sheets:
        nets = sheet.pin_nets()
        for names in _named_together(sheet):
            for name in names[1:]:
                join.together(place(sheet, names[0]), place(sheet, name))
        for part in sheet.parts:
            ends = [place(sheet, nets[part.ref, pin]) for pin in part.pins()]
            groups = [ends[:2], ends[2:]] if part.kind.startswith("OPTO") else [ends]
            if part.kind == "AMP":
                groups = [[*ends, ("", "LGND")]]
            for group in groups:
                for other in group[1:]:
                    join.together(group[0], other)
        for box in sheet.boxes:
            left = [place(sheet, nets[box.ref, pin]) for pin in box.left if pin != "-"]
            right = [place(sheet, nets[box.ref, pin]) for pin in box.right if pin != "-"]
            for group in (left, right) if box.value in PARTED else (left + right,):
                for other in group[1:]:
                    join.together(group[0], other)
    return lambda name: join.root(("", name))


def _named_together(sheet: Sheet) -> list[list[str]]:
    """Labels that wires join directly."""
    nets = sheet.nets()
    by_net: dict[str, list[str]] = {}
    for label in sheet.labels:
        by_net.setdefault(nets[label.x, label.y], []).append(label.name)
    return [sorted(set(names)) for names in by_net.values() if len(set(names)) > 1]


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("part X R1 0 0 0 ac.series", "no symbol X"),
        ("wire 0,0 3,4", "level or upright"),
        ("wire 0,0", "two ends"),
        ("label A 0 0 x", "stands l, r, u or d"),
        ("nothing 1 2", "no line begins with nothing"),
    ],
)
def test_a_mistake_in_a_sheet_is_named_with_its_line(line: str, said: str, tmp_path: Path) -> None:
    bad = tmp_path / "bad.sheet"
    bad.write_text(f'title "bad"\n{line}\n', "utf-8")
    with pytest.raises(SheetError, match=f"bad.sheet:2: .*{said}"):
        read_sheet(bad)
