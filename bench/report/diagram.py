"""The timing diagram: supply, sensor, calls and outputs over time, as SVG drawings of our own design.

Read like lines of text: time goes on from one line to the next, all to one
scale, and a span in which nothing happens is cut out by a marked break.  A
call is a hollow bar, an output a solid one; what the light showed is written in its field; the thin line under them is *off*.
A shaded field is a time in which the output's move was allowed.  A numbered
flag is the finding of that number.  Nothing depends on colour alone.
"""

from __future__ import annotations

from collections.abc import Callable
from html import escape

from bench.report.axis import Line, ticks, wrapped
from bench.report.lanes import Lane, Mark, Picture, is_on
from bench.report.wording import clock_words, contact_words, duration_words, sensor_of
from bench.trace.records import Value, Voltage
from firmware_ref.parameters import Parameters, Sensor

WIDTH = 860
LEFT = 74
RIGHT = 10
PLOT = WIDTH - LEFT - RIGHT
ROW = {"supply": 17, "light": 21, "call": 21, "output": 25}
ANALOG = 66
BAR = {"supply": 4, "call": 9, "output": 12}
#: Width of a character of the small type, for keeping labels apart.
CHAR = 5.3
#: Height of the names of two bands, for the same.
BAND_NAME = 9
BOLD_CHAR = 6.3
LABEL_ROW = 13

Height = Callable[[float], float]


def diagrams(picture: Picture, parameters: Parameters) -> list[str]:
    """One SVG element for each line of the diagram."""
    lines = wrapped(picture.moments(), PLOT)
    return [_Drawing(picture, parameters, line, number).svg() for number, line in enumerate(lines, 1)]


class _Drawing:
    """One line of the diagram."""

    def __init__(self, picture: Picture, parameters: Parameters, line: Line, number: int) -> None:
        self.picture = picture
        self.parameters = parameters
        self.line = line
        self.number = number
        self.out: list[str] = []
        self.values: list[tuple[float, float, str]] = []
        self.labels = self._part_labels()
        self.top = 6 + LABEL_ROW * (1 + max((row for _, _, _, row in self.labels), default=0))
        self.places: dict[str, tuple[float, float]] = {}
        y = float(self.top + 4)
        for lane in picture.lanes:
            height = self._height(lane)
            self.places[lane.channel] = (y, y + height)
            y += height
        self.bottom = y + 4

    def svg(self) -> str:
        """The drawing, with a title and a description for those who cannot see it."""
        begin, end = clock_words(self.line.start_us / 1e6), clock_words(self.line.end_us / 1e6)
        self._frame()
        self._windows()
        for lane in self.picture.lanes:
            self._lane(lane)
        self._breaks()
        for x, y, text in self.values:
            self._text(x, y, text, "value")
        self._marks()
        height = round(self.bottom + (28 if any(p.cut for p in self.line.pieces) else 17))
        name = f"timing-{self.number}"
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" class="timing" viewBox="0 0 {WIDTH} {height}" '
            f'role="img" aria-labelledby="{name}-title {name}-desc">'
            f'<title id="{name}-title">Timing diagram, line {self.number}: {begin} to {end}</title>'
            f'<desc id="{name}-desc">{escape(self._told())}</desc>{"".join(self.out)}</svg>'
        )

    def _told(self) -> str:
        parts = [text for at, text in self.picture.parts if self.line.start_us <= at < self.line.end_us]
        marks = [f"finding {m.number}: {m.text}" for m in self.picture.marks if self.line.shows(m.at_us)]
        moves = [
            f"{lane.name} {level.value} at {level.at_us / 1e6:.3f} s"
            for lane in self.picture.lanes
            if lane.kind == "output"
            for level in lane.levels[1:]
            if self.line.start_us <= level.at_us < self.line.end_us
        ]
        return ". ".join([*parts, *marks, *moves]) or "Nothing moved."

    # --- the frame ----------------------------------------------------------------

    def _put(self, shape: str) -> None:
        self.out.append(shape)

    def _text(self, x: float, y: float, text: str, css: str, anchor: str = "start") -> None:
        at = "" if anchor == "start" else f' text-anchor="{anchor}"'
        self._put(f'<text x="{x:.1f}" y="{y:.1f}" class="{css}"{at}>{escape(text)}</text>')

    def _rect(self, x0: float, y0: float, x1: float, y1: float, css: str) -> None:
        self._put(
            f'<rect x="{x0:.1f}" y="{y0:.1f}" width="{max(0.6, x1 - x0):.1f}" height="{y1 - y0:.1f}" class="{css}"/>'
        )

    def _stroke(self, points: list[tuple[float, float]], css: str) -> None:
        path = "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in points)
        self._put(f'<path d="{path}" class="{css}"/>')

    def _x(self, t_us: float) -> float:
        return LEFT + self.line.x(t_us)

    def _height(self, lane: Lane) -> int:
        analog = lane.kind == "sensor" and any(isinstance(level.value, Voltage) for level in lane.levels)
        return ANALOG if analog else ROW.get(lane.kind, 22)

    def _part_labels(self) -> list[tuple[float, int, str, int]]:
        """x, instant, text and row of each part's name, on as few rows as keep them apart."""
        begun = [(at, text) for at, text in self.picture.parts if at <= self.line.start_us]
        named = [(self.line.start_us, f"{begun[-1][1]} (continued)")] if begun else []
        inside = [p for p in self.picture.parts if self.line.start_us < p[0] < self.line.end_us]
        if inside and named and inside[0][0] - self.line.start_us < 100_000:
            named = []
        placed: list[tuple[float, int, str, int]] = []
        ends: list[float] = []
        for at, text in [*named, *inside]:
            wide = len(text) * BOLD_CHAR + 8
            x = self._x(at)
            x = min(x, WIDTH - RIGHT - wide) if x + wide > WIDTH - RIGHT else x
            row = next((n for n, end in enumerate(ends) if end <= x), len(ends))
            ends[row : row + 1] = [x + wide]
            placed.append((x, at, text, row))
        return placed

    def _frame(self) -> None:
        left, right = LEFT, LEFT + self.line.width
        for x, at, text, row in self.labels:
            y = 12 + LABEL_ROW * row
            if at > self.line.start_us:
                self._stroke([(self._x(at), y - 8), (self._x(at), self.bottom)], "part-line")
            self._text(x + 4, y, text, "part")
        for lane in self.picture.lanes:
            y0, y1 = self.places[lane.channel]
            self._text(left - 8, (y0 + y1) / 2 + 4, lane.name, f"name {lane.kind}", "end")
        self._stroke([(left, self.bottom), (right, self.bottom)], "axis")
        for at in ticks(self.line):
            x = self._x(at)
            self._stroke([(x, self.bottom), (x, self.bottom + 4)], "axis")
            self._text(
                x, self.bottom + 14, clock_words(at / 1e6, tenths=at % 1_000_000 != 0), "tick", "middle"
            )

    def _breaks(self) -> None:
        for piece in self.line.pieces:
            if not piece.cut:
                continue
            middle = LEFT + (piece.x0 + piece.x1) / 2
            y = float(self.top)
            points: list[tuple[float, float]] = []
            while y < self.bottom + 4:
                points.append((2.5 if len(points) % 2 else -2.5, y))
                y += 7
            left = [(middle - 4 + dx, y) for dx, y in points]
            right = [(middle + 4 + dx, y) for dx, y in points]
            gap = "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in [*left, *reversed(right)]) + "Z"
            self._put(f'<path d="{gap}" class="gap"/>')
            self._stroke(left, "tear")
            self._stroke(right, "tear")
            cut = duration_words((piece.end_us - piece.start_us) / 1e6)
            self._text(middle, self.bottom + 25, cut, "cut", "middle")

    # --- what was allowed and seen -----------------------------------------------

    def _windows(self) -> None:
        for window in self.picture.windows:
            end_us = self.line.end_us if window.end_us is None else window.end_us
            if (
                window.channel not in self.places
                or end_us < self.line.start_us
                or window.start_us > self.line.end_us
            ):
                continue
            y0, y1 = self.places[window.channel]
            self._rect(self._x(window.start_us), y0 + 2, self._x(end_us), y1 - 1, f"window {window.verdict}")

    def _lane(self, lane: Lane) -> None:
        y0, y1 = self.places[lane.channel]
        if lane.kind == "sensor":
            self._sensor(lane, y0, y1)
            return
        if lane.kind == "light":
            self._light(lane, y1)
            return
        base = y1 - 4
        self._stroke([(LEFT, base), (LEFT + self.line.width, base)], "rest")
        for start_us, end_us, value in lane.spans(self.line.end_us):
            if is_on(value) and end_us > self.line.start_us:
                self._rect(
                    self._x(start_us), base - BAR[lane.kind], self._x(end_us), base, f"bar {lane.kind}"
                )

    def _sensor(self, lane: Lane, y0: float, y1: float) -> None:
        terminal = lane.channel.partition(".")[2]
        sensor = sensor_of(self.parameters, terminal)
        height = _scale(lane, sensor, y0 + 12, y1 - 5)
        if height is not None:
            self._bands(sensor, height)
            self._level(lane, height)
        free_from = 0.0
        for start_us, end_us, value in lane.spans(self.line.end_us):
            if end_us <= self.line.start_us:
                continue
            x0, x1, text = self._x(start_us), self._x(end_us), _signal(sensor, terminal, value)
            y = y1 - 6
            if isinstance(value, Voltage) and height is not None:
                y = height(value.value_uv) - 3
            else:
                self._rect(x0, y1 - 17, x1, y1 - 3, f"signal {text}")
            if x1 - x0 > len(text) * CHAR + 6 and x0 >= free_from:
                self.values.append((x0 + 4, y, text))
                free_from = x0 + len(text) * CHAR

    def _light(self, lane: Lane, y1: float) -> None:
        for start_us, end_us, value in lane.spans(self.line.end_us):
            if end_us <= self.line.start_us:
                continue
            x0, x1, text = self._x(start_us), self._x(end_us), str(value)
            self._rect(x0, y1 - 17, x1, y1 - 3, "signal")
            if x1 - x0 > len(text) * CHAR + 6:
                self.values.append((x0 + 4, y1 - 6, text))

    def _bands(self, sensor: Sensor | None, height: Height) -> None:
        """Where the sensor's trip and clear levels lie with their tolerances."""
        bands = [(sensor.trip, "trip"), (sensor.clear, "clear")] if sensor is not None else []
        names: list[tuple[float, str]] = []
        for band, css in bands:
            if band is not None:
                top, foot = height(band.high_uv), height(band.low_uv)
                self._rect(LEFT, top, LEFT + self.line.width, foot, f"band {css}")
                names.append(((top + foot) / 2 + 3, css))
        names.sort()
        if len(names) == 2 and (spare := BAND_NAME - (names[1][0] - names[0][0])) > 0:
            names = [(names[0][0] - spare / 2, names[0][1]), (names[1][0] + spare / 2, names[1][1])]
        for y, css in names:
            self._text(LEFT - 8, y, css, "band-name", "end")

    def _level(self, lane: Lane, height: Height) -> None:
        """The signal as a line, broken where it is not a voltage."""
        points: list[tuple[float, float]] = []
        before: float | None = None
        for start_us, end_us, value in lane.spans(self.line.end_us):
            if not isinstance(value, Voltage):
                self._polyline(points)
                points, before = [], None
                continue
            here = height(value.value_uv)
            if end_us >= self.line.start_us:
                ramp_us = next(lv.ramp_us for lv in lane.levels if lv.at_us == start_us and lv.value == value)
                if before is not None and start_us >= self.line.start_us:
                    points.append((self._x(start_us - ramp_us), before))
                points += [(self._x(start_us), here), (self._x(end_us), here)]
            before = here
        self._polyline(points)

    def _polyline(self, points: list[tuple[float, float]]) -> None:
        if len(points) > 1:
            self._stroke(points, "level")

    def _marks(self) -> None:
        for mark in self.picture.marks:
            if self.line.shows(mark.at_us):
                self._mark(mark)

    def _mark(self, mark: Mark) -> None:
        x = self._x(mark.at_us)
        y0, y1 = self.places.get(mark.channel or "", (float(self.top), self.bottom))
        text = str(mark.number)
        wide = 8 + 6 * len(text)
        flag_x = x if x + wide < WIDTH - 2 else x - wide
        self._put(f'<a href="#finding-{mark.number}"><g class="mark {mark.verdict}">')
        self._put(f"<title>{escape(f'Finding {mark.number}: {mark.text}')}</title>")
        self._stroke([(x, y0), (x, y1 - 2)], "staff")
        self._rect(flag_x, y0 - 3, flag_x + wide, y0 + 10, "flag")
        self._text(flag_x + wide / 2, y0 + 7, text, "number", "middle")
        self._put("</g></a>")


def _scale(lane: Lane, sensor: Sensor | None, y0: float, y1: float) -> Height | None:
    """From microvolts to y, so that all levels of the run and both bands fit; None without voltages."""
    volts = [level.value.value_uv for level in lane.levels if isinstance(level.value, Voltage)]
    if not volts:
        return None
    bands = [b for b in (sensor.trip, sensor.clear) if b is not None] if sensor is not None else []
    edges = [*volts, *(uv for band in bands for uv in (band.low_uv, band.high_uv))]
    low, high = min(edges), max(edges)
    return lambda uv: y1 - (uv - low) / max(1, high - low) * (y1 - y0)


def _signal(sensor: Sensor | None, terminal: str, value: Value) -> str:
    if not isinstance(value, Voltage):
        return contact_words(sensor, terminal, str(value))
    if sensor is None or len(sensor.points) < 2:
        return f"{value.value_uv / 1e6:.3f} V"
    return f"{sensor.level_at(value.value_uv):.1f} %LFL"
