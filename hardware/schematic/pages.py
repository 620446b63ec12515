"""Tables in the pages of `hardware/`, made from the same data as pictures and checks.

A page holds a line `<!-- made: NAME -->`, the table, and `<!-- end -->`; what
is between the two is written anew.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path

from hardware.schematic.sheet import HARDWARE, HERE, Sheet, copies, pins, read_sheets, rows_of, table, written
from hardware.schematic.worked import WORKED

_BLOCK = re.compile(r"(<!-- made: ([\w.-]+) -->\n).*?(<!-- end -->)", re.DOTALL)


def pages() -> dict[Path, str]:
    """Every page with a made block, as it must be."""
    found = {}
    for path in sorted(HARDWARE.glob("*.md")):
        text = path.read_text("utf-8")
        if _BLOCK.search(text):
            found[path] = _BLOCK.sub(lambda m: m[1] + _made(m[2]) + m[3], text)
    return found


def _made(name: str) -> str:
    kind, _, what = name.partition(".")
    tables = {"parts": _parts, "sheets": _sheets, "channels": _channels}
    return _values(what) if kind == "values" else tables[kind]()


def _rows(head: tuple[str, ...], rows: Sequence[tuple[str, ...]]) -> str:
    lines = [f"| {' | '.join(head)} |", "|" + "---|" * len(head)]
    lines += [f"| {' | '.join(cell.replace('|', '/') for cell in row)} |" for row in rows]
    return "\n".join(lines) + "\n"


# -- parts -----------------------------------------------------------------------------------


def counted() -> dict[str, int]:
    """Key of values.csv -> how many the whole fixture needs."""
    found: dict[str, int] = {}
    for sheet in read_sheets():
        for part in sheet.parts:
            found[part.value] = found.get(part.value, 0) + copies(sheet, part.only)
        for box in sheet.boxes:
            found[box.value] = found.get(box.value, 0) + copies(sheet)
    return found


def _parts() -> str:
    amounts = counted()
    places: dict[str, list[str]] = {}
    for sheet in read_sheets():
        refs: dict[str, list[str]] = {}
        for part in sheet.fitted():
            refs.setdefault(part.value, []).append(part.ref)
        for key, names in refs.items():
            places.setdefault(key, []).append(f"{sheet.name[:2]}: {', '.join(names)}")
    rows = []
    for row in table(HERE / "values.csv"):
        if row["part"]:
            rows.append(
                (
                    str(amounts[row["key"]]),
                    row["part"],
                    _value(row),
                    row["rating"],
                    "; ".join(places[row["key"]]),
                )
            )
    return _rows(("pieces", "part", "value", "rating", "sheet and reference"), rows)


def _value(row: dict[str, str]) -> str:
    """Value and tolerance as printed; ready-made parts and transistors have none."""
    if not row["part"].startswith(("Resistor", "Trimming", "Capacitor", "Zener", "Bidirectional")):
        return ""
    return f"{written(row['key'])} ±{row['tolerance']}"


# -- sheets, channels ------------------------------------------------------------------------


def _sheets() -> str:
    parts = []
    for sheet in read_sheets():
        amount = copies(sheet)
        often = "built once" if amount == 1 else f"built {amount} times"
        parts.append(
            f"### {sheet.name}: {sheet.title}\n\n{often[0].upper()}{often[1:]}.\n\n![{sheet.title}](schematic/pictures/{sheet.name}.svg)\n"
        )
    return "\n".join(parts)


def served() -> dict[tuple[str, str], list[Sheet]]:
    """(channel name, role) -> the sheets that end at that pin."""
    found: dict[tuple[str, str], list[Sheet]] = {(r["name"], r["role"]): [] for r in pins()}
    for sheet in read_sheets():
        for use in sheet.serves:
            for row in rows_of(use):
                found[row["name"], row["role"]].append(sheet)
    return found


def _channels() -> str:
    sheets = served()
    rows = []
    for channel in table(HARDWARE / "channels.csv"):
        own = [r for r in pins() if r["channel"] == channel["number"]]
        ends = [f"{r['role']} {r['pin']} ({sheets[r['name'], r['role']][0].name[:2]})" for r in own]
        rows.append(
            (channel["number"], channel["name"], channel["terminal"], channel["limits"], ", ".join(ends))
        )
    return _rows(("channel", "name", "terminal", "carries", "controller's pins (sheet)"), rows)


# -- values ----------------------------------------------------------------------------------


def _values(group: str) -> str:
    rows = []
    for claim in table(HERE / "claims.csv"):
        if claim["key"].split(".")[0] == group:
            least, most = WORKED[claim["key"]]()
            rows.append((claim["sentence"], _wanted(claim), f"{_number(least, most)} {claim['unit']}"))
    return _rows(("what", "wanted", "worked out"), rows)


def _wanted(claim: dict[str, str]) -> str:
    least, most, unit = claim["least"], claim["most"], claim["unit"]
    if float(least) == 0:
        return f"at most {most} {unit}"
    if float(most) >= 200:
        return f"at least {least} {unit}"
    return f"{least} to {most} {unit}"


def _number(least: float, most: float) -> str:
    """Three digits; one number where both ends are the same, *at most* where there is no lower end."""
    low, high = (f"{one:.3g}" if abs(one) >= 1e-4 else "0" for one in (least, most))
    if low == high:
        return high
    return f"at most {high}" if least == 0 else f"{low} to {high}"
