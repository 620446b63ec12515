"""Draws the sheets as SVG and writes the tables of the pages: `python -m hardware.schematic.draw`.

Pictures and tables are in the repository; a test draws them again and compares.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from html import escape
from pathlib import Path

from hardware.schematic.pages import pages
from hardware.schematic.sheet import HERE, Box, Label, Part, Sheet, read_sheets, touches, written
from hardware.schematic.symbols import SYMBOLS, Point

PICTURES = HERE / "pictures"
UNIT = 14
#: Room left of the first column, for labels.
LEFT = 7
MARGIN = 2
#: Wide enough for a character of the text, in grid units.
_CHARACTER = 0.56

_STYLE = (
    "text{font-family:DejaVu Sans,Arial,sans-serif;font-size:12px;fill:#111}"
    ".w{stroke:#111;stroke-width:1.4;fill:none;stroke-linecap:round;stroke-linejoin:round}"
    ".s{stroke:#111;stroke-width:1.4;fill:#111;stroke-linejoin:round}"
    ".l{fill:#14508c}.t{fill:#8a1c1c;font-weight:bold}.p{fill:#1c6b2a;font-weight:bold}.n{fill:#555}"
    ".h{font-size:16px;font-weight:bold}.b{stroke:#c2410c;stroke-width:2;stroke-dasharray:8 5}.bt{fill:#c2410c}"
)


def picture(sheet: Sheet) -> str:
    """One sheet as SVG."""
    shapes: list[str] = []
    for wire in sheet.wires:
        shapes.append(_line(wire))
    for point in _junctions(sheet):
        shapes.append(f'<circle cx="{_n(point[0])}" cy="{_n(point[1])}" r="3" fill="#111"/>')
    for part in sheet.parts:
        shapes += _part(part)
    for box in sheet.boxes:
        shapes += _box(box)
    for one in sheet.labels:
        shapes += _label(one)
    for x, y, words in sheet.texts:
        shapes.append(_text(x, y + 0.3, words, "n"))
    for x, top, bottom, words in sheet.barriers:
        shapes.append(f'<line class="b" x1="{_n(x)}" y1="{_n(top)}" x2="{_n(x)}" y2="{_n(bottom)}"/>')
        shapes.append(_text(x, top - 0.3, words, "bt", "middle"))
    width, height = _extent(sheet)
    title = escape(f"{sheet.name}: {sheet.title}")
    w, h = int((LEFT + width + MARGIN) * UNIT), int((height + MARGIN + 3) * UNIT)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{w}" height="{h}" viewBox="0 0 {w} {h}">\n'
        f"<style>{_STYLE}</style>\n"
        f'<rect width="{w}" height="{h}" fill="#fff"/>\n'
        f'<text class="h" x="{UNIT}" y="{UNIT * 1.6:g}">{title}</text>\n'
        f'<g transform="translate({LEFT * UNIT} {2 * UNIT})">\n' + "\n".join(shapes) + "\n</g>\n</svg>\n"
    )


def _junctions(sheet: Sheet) -> list[Point]:
    """Where three or more ends meet, or an end meets a wire that goes on."""
    ends: dict[Point, int] = {}
    for wire in sheet.wires:
        for n, point in enumerate(wire):
            ends[point] = ends.get(point, 0) + (1 if n in (0, len(wire) - 1) else 2)
    for _, _, point in sheet.all_pins():
        ends[point] = ends.get(point, 0) + 1
    found = []
    for point, count in ends.items():
        passing = sum(
            touches(point, a, b) and point not in (a, b)
            for wire in sheet.wires
            for a, b in itertools.pairwise(wire)
        )
        if count + 2 * passing > 2:
            found.append(point)
    return sorted(found)


def _part(part: Part) -> list[str]:
    symbol = SYMBOLS[part.kind]
    shapes = [_line([part.place(p) for p in line]) for line in symbol.lines]
    for shape in symbol.shapes:
        points = " ".join(f"{_n(x)},{_n(y)}" for x, y in map(part.place, shape))
        shapes.append(f'<polygon class="s" points="{points}"/>')
    for x, y, radius in symbol.dots:
        cx, cy = part.place((x, y))
        shapes.append(f'<circle class="w" cx="{_n(cx)}" cy="{_n(cy)}" r="{radius * UNIT:g}"/>')
    for x, y, sign in symbol.words:
        shapes.append(_text(*part.place((x, y)), sign, "n"))
    words = [part.ref, *([said] if (said := written(part.value)) else [])]
    corners = [part.place(p) for line in (*symbol.lines, *symbol.shapes) for p in line]
    left, right = min(x for x, _ in corners), max(x for x, _ in corners)
    top, bottom = min(y for _, y in corners), max(y for _, y in corners)
    if part.kind == "NMOS" and part.turn in (90, 270):
        side, anchor = (0.4, "start") if part.flip else (-0.4, "end")
        for n, word in enumerate(words):
            shapes.append(_text(part.x + side, bottom - 0.5 + n, word, "n", anchor))
    elif bottom - top > right - left and part.kind not in ("OPTO", "OPTO-AC"):
        for n, word in enumerate(words):
            shapes.append(_text(right + 0.35, (top + bottom) / 2 + n - 0.1, word, "n"))
    else:
        shapes.append(_text((left + right) / 2, top - 0.35, " ".join(words), "n", "middle"))
    return shapes


def _box(box: Box) -> list[str]:
    x, y = box.x, box.y
    shapes = [
        f'<rect class="w" x="{_n(x)}" y="{_n(y)}" width="{box.width * UNIT}" height="{box.height * UNIT}"/>',
        _text(x + box.width / 2, y - 0.4, f"{box.ref} {box.title}", "n", "middle"),
    ]
    for side, names in (("l", box.left), ("r", box.right)):
        for n, name in enumerate(names):
            if name == "-":
                continue
            py = y + 2 + 2 * n
            edge = x if side == "l" else x + box.width
            out = edge - 1 if side == "l" else edge + 1
            shapes.append(_line([(edge, py), (out, py)]))
            inside = edge + 0.3 if side == "l" else edge - 0.3
            shapes.append(_text(inside, py + 0.3, name, "n", "start" if side == "l" else "end"))
    return shapes


def _label(one: Label) -> list[str]:
    """A rail, a controller pin (@, green) or an outside terminal (=, red, in a frame)."""
    name = one.name.lstrip("@=")
    kind = {"@": "p", "=": "t"}.get(one.name[0], "l")
    if name in ("LGND", "C") and kind == "l" and one.side == "d":
        return _ground(one, name)
    dx, dy, anchor = {
        "l": (-0.5, 0.3, "end"),
        "r": (0.5, 0.3, "start"),
        "u": (0, -0.5, "middle"),
        "d": (0, 1.3, "middle"),
    }[one.side]
    shapes = [_text(one.x + dx, one.y + dy, name, kind, anchor)]
    if one.side == "u":
        shapes.append(_line([(one.x - 0.6, one.y - 0.2), (one.x + 0.6, one.y - 0.2)]))
        shapes.append(_line([(one.x, one.y - 0.2), (one.x, one.y)]))
    elif kind == "t":
        shapes.append(
            f'<circle cx="{_n(one.x)}" cy="{_n(one.y)}" r="4.5" fill="#fff" stroke="#8a1c1c" stroke-width="2"/>'
        )
    return shapes


def _ground(one: Label, name: str) -> list[str]:
    """Logic ground: three strokes; C of the 24 V side: an open triangle with its letter."""
    x, y = one.x, one.y
    stem = _line([(x, y), (x, y + 0.6)])
    if name == "LGND":
        strokes = [
            _line([(x - w, y + 0.6 + 0.35 * n), (x + w, y + 0.6 + 0.35 * n)])
            for n, w in enumerate((0.9, 0.55, 0.2))
        ]
        return [stem, *strokes]
    triangle = [(x - 0.8, y + 0.6), (x + 0.8, y + 0.6), (x, y + 1.5), (x - 0.8, y + 0.6)]
    return [stem, _line(triangle), _text(x + 1.0, y + 1.4, name, "l")]


def _extent(sheet: Sheet) -> tuple[float, float]:
    xs, ys = [0.0], [0.0]
    for wire in sheet.wires:
        xs += [x for x, _ in wire]
        ys += [y for _, y in wire]
    for _, _, (x, y) in sheet.all_pins():
        xs.append(x + 3)
        ys.append(y + 1)
    for box in sheet.boxes:
        ys.append(box.y + box.height)
    for one in sheet.labels:
        xs.append(one.x + (len(one.name) * _CHARACTER + 1 if one.side == "r" else 2))
        ys.append(one.y + 2)
    for x, y, words in sheet.texts:
        xs.append(x + len(words) * _CHARACTER)
        ys.append(y + 1)
    xs.append(len(sheet.name + sheet.title) * 0.75 + 2 - LEFT)
    ys += [bottom for _, _, bottom, _ in sheet.barriers]
    return max(xs), max(ys)


def _n(value: float) -> str:
    return f"{value * UNIT:g}"


def _line(points: Sequence[Point]) -> str:
    return f'<polyline class="w" points="{" ".join(f"{_n(x)},{_n(y)}" for x, y in points)}"/>'


def _text(x: float, y: float, words: str, kind: str, anchor: str = "start") -> str:
    place = "" if anchor == "start" else f' text-anchor="{anchor}"'
    return f'<text class="{kind}" x="{_n(x)}" y="{_n(y)}"{place}>{escape(words)}</text>'


def results() -> dict[Path, str]:
    """Every file that is made from the data, and what belongs into it."""
    return {PICTURES / f"{sheet.name}.svg": picture(sheet) for sheet in read_sheets()} | pages()


def main() -> None:
    PICTURES.mkdir(exist_ok=True)
    for path, text in results().items():
        path.write_text(text, "utf-8")


if __name__ == "__main__":
    main()
