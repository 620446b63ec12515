"""A time axis that stays readable: quiet spans are cut out by marked breaks, and lines are wrapped.

Everything is drawn to one scale.  Where nothing happens for long, the axis
breaks; where a line is full, the next one goes on.  Times are us since the
snapshot, x is in drawing units from the left end of the plot.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise

#: Shown on either side of a moment before the axis may break.
PAD_US = 350_000
#: A quiet span shorter than this is never cut out.
QUIET_US = 3_000_000
#: The last part of a line, in which it may turn.
TURN = 0.4
#: Width of a break.
BREAK = 52.0
#: Drawing units for one second, the first that gives few enough lines is taken.
SCALES = (200, 140, 100, 72, 50, 36)


@dataclass(frozen=True, slots=True)
class Piece:
    """A part of the axis between two instants; `cut` where it is a break and not to scale."""

    start_us: int
    end_us: int
    x0: float
    x1: float
    cut: bool = False


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the wrapped axis; its pieces touch."""

    pieces: tuple[Piece, ...]
    scale: float

    @property
    def start_us(self) -> int:
        return self.pieces[0].start_us

    @property
    def end_us(self) -> int:
        return self.pieces[-1].end_us

    @property
    def width(self) -> float:
        return self.pieces[-1].x1

    def x(self, t_us: float) -> float:
        """Where an instant lies; what is outside lies on the nearer end."""
        for piece in self.pieces:
            if t_us <= piece.end_us:
                share = (max(t_us, piece.start_us) - piece.start_us) / max(1, piece.end_us - piece.start_us)
                return piece.x0 + share * (piece.x1 - piece.x0)
        return self.pieces[-1].x1

    def shows(self, t_us: float) -> bool:
        """Whether an instant lies on this line and outside its breaks."""
        return any(p.start_us <= t_us <= p.end_us for p in self.pieces if not p.cut)


def wrapped(moments: Iterable[int], width: float, most_lines: int = 8) -> list[Line]:
    """Lines of at most about `width` that show every moment; the widest scale that needs few enough of them."""
    ordered = sorted(set(moments))
    if not ordered:
        return []
    lines: list[Line] = []
    for scale in SCALES:
        lines = _lines(ordered, width, scale)
        if len(lines) <= most_lines:
            break
    return lines


def _lines(moments: list[int], width: float, scale: float) -> list[Line]:
    rows = _rows(moments, width - BREAK, scale)
    firsts = [row[0] for row in rows[1:]]
    lines, start_us = [], rows[0][0] - PAD_US
    for row, next_us in zip(rows, [*firsts, None], strict=True):
        line = _line(row, start_us, next_us, scale)
        lines.append(line)
        start_us = line.end_us
    return lines


def _rows(moments: list[int], width: float, scale: float) -> list[list[int]]:
    """The moments of each line; a full line turns in the longest gap of its last part."""
    rows: list[list[int]] = []
    rest = moments
    while rest:
        used = 2 * PAD_US * scale / 1e6
        count, turns = 1, []
        for before, after in pairwise(rest):
            if used >= width * (1 - TURN):
                turns.append((after - before, count))
            used += _cost(after - before, scale)
            if used > width:
                break
            count += 1
        if count < len(rest) and turns:
            count = max(turns)[1]
        rows.append(rest[:count])
        rest = rest[count:]
    return rows


def _cost(gap_us: int, scale: float) -> float:
    return 2 * PAD_US * scale / 1e6 + BREAK if gap_us > QUIET_US else gap_us * scale / 1e6


def _line(moments: list[int], start_us: int, next_us: int | None, scale: float) -> Line:
    """One line from `start_us`; it ends before `next_us`, the first moment of the next line."""
    pieces: list[Piece] = []
    x = 0.0

    def add(to_us: int, cut: bool = False) -> None:
        nonlocal x
        begin_us = pieces[-1].end_us if pieces else start_us
        wide = BREAK if cut else (to_us - begin_us) * scale / 1e6
        pieces.append(Piece(begin_us, to_us, x, x + wide, cut))
        x += wide

    for before, after in pairwise(moments):
        if after - before > QUIET_US:
            add(before + PAD_US)
            add(after - PAD_US, cut=True)
    last = moments[-1]
    if next_us is None:
        add(last + PAD_US)
    elif next_us - last > 3 * PAD_US:  # at a turn of the line even a short quiet span is cut out
        add(last + PAD_US)
        add(next_us - PAD_US, cut=True)
    else:
        add((last + next_us) // 2)
    return Line(tuple(pieces), scale)


def ticks(line: Line) -> list[int]:
    """Round instants to be labelled on a line: as many as fit, none in a break."""
    step_us = next(
        (s for s in (500_000, 1_000_000, 2_000_000, 5_000_000) if s * line.scale / 1e6 >= 54), 10_000_000
    )
    found = []
    for piece in line.pieces:
        if not piece.cut:
            first = -(-piece.start_us // step_us)
            found += [n * step_us for n in range(first, piece.end_us // step_us + 1) if n >= 0]
    return found
