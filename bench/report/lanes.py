"""What a trace shows, channel by channel, and what its findings allow: the matter of the timing diagram.

All times are us since the snapshot, on the corrected clock that the findings
use as well.
"""

from __future__ import annotations

from dataclasses import dataclass

from bench.judge.findings import Finding, Judgement
from bench.judge.judge import clock_of
from bench.judge.light import shown
from bench.report.wording import clean
from bench.trace.records import Edge, Note, Readback, Trace, Value, Voltage
from firmware_ref.parameters import DARK, Parameters

#: A finding of the whole board belongs to the outputs that moved this close to it.
SAME_US = 5_000


@dataclass(frozen=True, slots=True)
class Level:
    """From `at_us` a channel has `value`; it took `ramp_us` to get there."""

    at_us: int
    value: Value
    ramp_us: int = 0


@dataclass(frozen=True, slots=True)
class Lane:
    """One channel over the whole run.  `kind`: supply, sensor, light (its values are codes), call or output."""

    channel: str
    name: str
    kind: str
    levels: tuple[Level, ...]

    def spans(self, end_us: int) -> list[tuple[int, int, Value]]:
        """From, to and value, without gaps, up to `end_us`."""
        ends = [level.at_us for level in self.levels[1:]] + [end_us]
        spans = [(lv.at_us, min(end, end_us), lv.value) for lv, end in zip(self.levels, ends, strict=True)]
        return [span for span in spans if span[1] > span[0]]


@dataclass(frozen=True, slots=True)
class Window:
    """When a move of an output was allowed; `end_us` None: no end is stated."""

    channel: str
    start_us: int
    end_us: int | None
    verdict: str


@dataclass(frozen=True, slots=True)
class Mark:
    """A finding that did not pass, by its number on the page; `channel` None: the board as a whole."""

    channel: str | None
    at_us: int
    verdict: str
    number: int
    text: str


@dataclass(frozen=True, slots=True)
class Picture:
    """All that is drawn."""

    lanes: tuple[Lane, ...]
    parts: tuple[tuple[int, str], ...]
    windows: tuple[Window, ...]
    marks: tuple[Mark, ...]
    end_us: int

    def moments(self) -> list[int]:
        """Every instant that has to be readable."""
        found = [level.at_us for lane in self.lanes for level in lane.levels]
        found += [level.at_us - level.ramp_us for lane in self.lanes for level in lane.levels]
        found += [at for w in self.windows for at in (w.start_us, w.end_us) if at is not None]
        found += [m.at_us for m in self.marks]
        return [max(0, min(at, self.end_us)) for at in found] + [self.end_us]


def numbered(judgement: Judgement) -> list[tuple[int, Finding]]:
    """The findings that did not pass, with the numbers they carry on the page."""
    return list(enumerate((f for f in judgement.findings if f.verdict != "pass"), 1))


def picture_of(trace: Trace, judgement: Judgement, parameters: Parameters) -> Picture | None:
    """What the trace shows; None where it has no snapshot."""
    snapshot = trace.snapshot
    if snapshot is None:
        return None
    clock = clock_of(trace)
    zero_us = clock.true_us(snapshot.tick_us)
    levels = {ch: [Level(0, value)] for ch, value in snapshot.values.items()}
    parts: list[tuple[int, str]] = []
    end_us = 0
    for record in trace.records:
        if isinstance(record, (Edge, Readback)):
            at_us = clock.true_us((record.earliest_us + record.latest_us) // 2) - zero_us
            end_us = max(end_us, at_us)
            if isinstance(record, Edge) and record.ch == "light":
                continue  # not its edges are drawn but what they say
            if isinstance(record, Edge):
                levels.setdefault(record.ch, []).append(Level(at_us, record.value))
            elif record.what == ("terminal" if record.ch.startswith("sensor.") else "position"):
                levels.setdefault(record.ch, []).append(Level(at_us, record.value, record.ramp_us))
        elif isinstance(record, Note):
            parts.append((clock.true_us(record.tick_us) - zero_us, clean(record.text)))
    if trace.end is not None:
        end_us = max(end_us, clock.true_us(trace.end.tick_us) - zero_us)
    if "light" in levels:
        levels["light"] = _codes(trace, parameters, zero_us)
    lanes = tuple(
        Lane(ch, name, kind, tuple(sorted(levels[ch], key=lambda level: level.at_us)))
        for ch, name, kind in channels(parameters, set(levels))
    )
    windows, marks = _judged(judgement, lanes)
    return Picture(lanes, tuple(parts), tuple(windows), tuple(marks), end_us)


def _codes(trace: Trace, parameters: Parameters, zero_us: int) -> list[Level]:
    """What the light showed, from each change of it on."""
    found = [Level(0, DARK)]
    for one in [] if parameters.light is None else shown(trace, parameters.light, clock_of(trace)):
        code = one.code or "?"
        if code != found[-1].value:
            found.append(Level(max(0, one.from_us - zero_us), code))
    return found


def channels(parameters: Parameters, seen: set[str]) -> list[tuple[str, str, str]]:
    """Channel, name and kind of what is drawn, top to bottom: each output right under its call."""
    found = [("sense.board", "supply", "supply")]
    for sensor in parameters.sensors:
        found.append((f"sensor.{sensor.name}", f"sensor {sensor.name}", "sensor"))
        found += [(f"sensor.{t}", f"trouble {sensor.name}", "sensor") for t in sensor.terminals[1:]]
    if parameters.light is not None:
        found.append(("light", "light", "light"))
    rest = list(parameters.outputs)
    for call in parameters.calls:
        found.append((f"call.{call}", f"{call} call", "call"))
        for output in [o for o in rest if o.call == call]:
            rest.remove(output)
            found.append((output_channel(output.name), f"{output.name} out", "output"))
    found += [(output_channel(o.name), o.name, "output") for o in rest]
    return [row for row in found if row[0] in seen]


def output_channel(name: str) -> str:
    """The channel on which an output is seen; alarm contacts carry their own name."""
    return name if name.startswith("alarm.") else f"out.{name}"


def _judged(judgement: Judgement, lanes: tuple[Lane, ...]) -> tuple[list[Window], list[Mark]]:
    outputs = [lane for lane in lanes if lane.kind == "output"]
    numbers = {id(f): number for number, f in numbered(judgement)}
    windows: list[Window] = []
    marks: list[Mark] = []
    for finding in judgement.findings:
        at_us = round(finding.at_s * 1e6)
        shown = _lanes_of(finding, at_us, outputs)
        span = _window(finding, at_us)
        if span is not None:
            windows += [Window(lane.channel, *span, finding.verdict) for lane in shown]
        if id(finding) in numbers:
            channel = shown[0].channel if shown else None
            marks.append(Mark(channel, at_us, finding.verdict, numbers[id(finding)], clean(finding.text)))
    return windows, marks


def _lanes_of(finding: Finding, at_us: int, outputs: list[Lane]) -> list[Lane]:
    if finding.output is not None:
        return [lane for lane in outputs if lane.channel == output_channel(finding.output)]
    return [o for o in outputs if any(abs(level.at_us - at_us) <= SAME_US for level in o.levels[1:])]


def _window(finding: Finding, at_us: int) -> tuple[int, int | None] | None:
    """When the move was allowed, from the limits and where the finding lies in them."""
    if finding.limits is None or finding.unit != "s":
        return None
    low, high = finding.limits
    reference = finding.measured if finding.measured is not None else high  # missing: booked where it ended
    if reference is None:
        return None
    origin_us = at_us - round(reference * 1e6)
    start_us = origin_us + round((low or 0.0) * 1e6)
    return max(0, start_us), None if high is None else origin_us + round(high * 1e6)


def is_on(value: Value) -> bool:
    """Whether a switched channel is on, or a contact closed."""
    return not isinstance(value, Voltage) and value in ("on", "closed")
