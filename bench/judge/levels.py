"""At which level a board tripped and cleared: from the steps of a staircase and the answer to one of them.

An answer at T began to be due between T minus the longest and T minus the
shortest time that the profile allows it.  The level lies between the step
before the first and the last that fall into that time.  So what is found rests
on the profile's timings; a board that breaks them fails by those.

A staircase counts only where nothing else may have moved an output meanwhile,
and where the board was surely in the mode before it.  What does not count
gives no finding: a good board is never failed by it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from bench.judge.book import Book
from bench.judge.budget import level_budget
from bench.judge.clock import ClockFit
from bench.judge.conditions import readings
from bench.judge.conformance import conformance
from bench.judge.events import CallMoved, Change, Event, SensorMoved, SupplyMoved
from bench.judge.findings import Finding
from bench.judge.level_answers import Answer, reads, to_clear, to_trip
from bench.judge.window import Stamp
from bench.profile.quantities import parse_level
from bench.trace.records import Voltage
from firmware_ref.parameters import Condition, Mode, Parameters, Sensor

#: A signal is within its bound 8 ms after the command at the latest (hardware/PROTOCOL.md), and goes on settling so fast.
_SETTLES_US = 8_000

TRIP, CLEAR, HYSTERESIS = "trip", "clear", "hysteresis"


@dataclass(frozen=True, slots=True)
class Level:
    """One level of one sensor; `value` and `uncertainty` by unit: V, %LFL, and ppm where the refrigerant is known.

    `what`: trip, clear or hysteresis.  `told_by`: the outputs that showed it.
    `verdict` None: measured and not judged.
    """

    sensor: str
    what: str
    value: Mapping[str, float]
    uncertainty: Mapping[str, float]
    limits_lfl: tuple[float | None, float | None]
    told_by: tuple[str, ...]
    verdict: str | None

    def as_json(self) -> dict[str, Any]:
        return {
            "sensor": self.sensor,
            "what": self.what,
            "value": dict(self.value),
            "uncertainty": dict(self.uncertainty),
            "limits_lfl": list(self.limits_lfl),
            "told_by": list(self.told_by),
            "verdict": self.verdict,
        }


@dataclass(frozen=True, slots=True)
class _Step:
    """The signal came to `uv` ± `bound_uv`."""

    uv: int
    bound_uv: int
    stamp: Stamp


@dataclass(frozen=True, slots=True)
class Staircase:
    """A sensor's signal step by step towards gas or away from it; the first is where it came from.

    Nothing else was done to the board until `until_us`.
    """

    sensor: Sensor
    towards_gas: bool
    steps: tuple[_Step, ...]
    until_us: int

    @property
    def begins_us(self) -> int:
        return self.steps[1].stamp.earliest_us


@dataclass(frozen=True, slots=True)
class Seen:
    """What was seen of the board: its outputs in the snapshot (on, closed), and all that happened, in order."""

    start: Mapping[str, bool]
    events: Sequence[Event]

    def as_of(self, at_us: int) -> tuple[dict[str, bool], dict[str, bool]]:
        """Calls and outputs just before an instant."""
        calls: dict[str, bool] = {}
        levels = dict(self.start)
        for event in self.events:
            if event.stamp.latest_us >= at_us:
                continue
            if isinstance(event, CallMoved):
                calls[event.call] = event.on
            elif isinstance(event, Change):
                levels[event.output] = event.on
        return calls, levels


@dataclass(frozen=True, slots=True)
class _Telling:
    """An output that will show the answer by going to `on`."""

    output: str
    on: bool
    answer: Answer


@dataclass(frozen=True, slots=True)
class _Between:
    """The level lies between two steps (uV); what is known of it, in uV, as `level_budget` has it."""

    low_uv: int
    high_uv: int
    half_widths_uv: tuple[float, ...]


def stairs_of(procedure: Mapping[str, Any], parameters: Parameters) -> dict[str, list[int]]:
    """By sensor: where each of the stairs in a procedure, as the trace's header has it, begins (uV)."""
    sensors = {f"sensor.{s.name}": s for s in parameters.sensors if s.kind == "analog"}
    found: dict[str, list[int]] = {}
    for step in procedure.get("steps") or ():
        for channel, doing in step.items() if isinstance(step, Mapping) else ():
            stairs = doing.get("stairs") if isinstance(doing, Mapping) else None
            if isinstance(stairs, Mapping) and channel in sensors:
                begins_uv = _uv(sensors[channel], stairs.get("levels"))
                if begins_uv is not None:
                    found.setdefault(sensors[channel].name, []).append(begins_uv)
    return found


def _uv(sensor: Sensor, levels: Any) -> int | None:
    """The first of the levels; None where a header does not hold what a procedure would."""
    try:
        level = parse_level(levels[0])
        return int(level.value) if level.unit == "V" else sensor.uv_at(level.lfl(sensor.lfl_ppm))
    except (ValueError, TypeError, LookupError, AssertionError):
        return None


def staircases(
    events: Sequence[Event], parameters: Parameters, begins_uv: Mapping[str, Sequence[int]], end_us: int
) -> list[Staircase]:
    """In order of time; `events` are those of the whole run, `begins_uv` is from `stairs_of`."""
    found = []
    for sensor in parameters.sensors:
        for run, ended in _runs(sensor, events, end_us):
            if not _begins(run, begins_uv.get(sensor.name, ())):
                continue
            towards = (run[-1].uv > run[0].uv) is sensor.rising
            begins_us = run[1].stamp.earliest_us
            until_us = min(
                (
                    e.stamp.earliest_us
                    for e in events
                    if _disturbs(e, sensor) and e.stamp.latest_us >= begins_us
                ),
                default=end_us,
            )
            found.append(Staircase(sensor, towards, tuple(run), min(until_us, ended, end_us)))
    return sorted(found, key=lambda s: s.begins_us)


def _begins(run: Sequence[_Step], begins_uv: Sequence[int]) -> bool:
    """Whether stairs begin there: at its first step, or at the next where the first was still pulled away."""
    return any(abs(step.uv - uv) <= 2 * step.bound_uv for step in run[1:3] for uv in begins_uv)


def _disturbs(event: Event, sensor: Sensor) -> bool:
    if isinstance(event, SensorMoved):
        return event.sensor != sensor.name
    return isinstance(event, (CallMoved, SupplyMoved))


def _runs(sensor: Sensor, events: Sequence[Event], end_us: int) -> Iterator[tuple[list[_Step], int]]:
    """Signals that went one way, and when the next one went another."""
    run: list[_Step] = []
    for event in events:
        if not isinstance(event, SensorMoved) or event.sensor != sensor.name:
            continue
        if not isinstance(event.value, Voltage):
            yield run, event.stamp.earliest_us
            run = []
            continue
        step = _Step(event.value.value_uv, event.value.bound_uv, event.stamp)
        if len(run) > 1 and (step.uv > run[-1].uv) is not (run[1].uv > run[0].uv):
            yield run, step.stamp.earliest_us
            run = run[-1:]
        run.append(step)
    yield run, end_us


def evaluate(
    stairs: Sequence[Staircase],
    modes_at: Callable[[int], frozenset[Mode]],
    seen: Seen,
    parameters: Parameters,
    book: Book,
    clock: ClockFit,
) -> list[Level]:
    """What the staircases show; findings go into `book`.

    `modes_at`: what the board may be doing at an instant; asked in order of time.
    """
    found: list[Level] = []
    for one in stairs:
        modes = modes_at(one.begins_us - 1)
        if one.towards_gas and modes == {Mode.NORMAL}:
            found += _level(one, TRIP, to_trip(parameters), seen, parameters, book, clock)
        elif not one.towards_gas and modes == {Mode.LEAK_ACTIVE}:
            answer = to_clear(parameters)
            found += _level(one, CLEAR, [] if answer is None else [answer], seen, parameters, book, clock)
    return [*found, *_hystereses(found, parameters)]


def _level(
    stairs: Staircase, what: str, answers: Sequence[Answer], seen: Seen, parameters: Parameters,
    book: Book, clock: ClockFit,
) -> Iterator[Level]:  # fmt: skip
    telling = _telling(stairs, answers, seen, parameters)
    if not telling:
        return
    first = _first_answer(stairs, telling, seen)
    if first is None:
        _never(stairs, what, telling, parameters, book, clock)
        return
    answer, change = first
    between = _between(stairs, answer, change, clock)
    if between is None:
        return
    between = _with_supply(stairs.sensor, between)
    sensor = stairs.sensor
    low, high = _limits_lfl(sensor, what)
    verdict = _book(stairs, what, between, (low, high), answer, parameters, book)
    if what == TRIP and sensor.trip_at_most_lfl is not None:
        _book(stairs, what, between, (None, sensor.trip_at_most_lfl), answer, parameters, book, claim=True)
    yield _as_level(sensor, what, between, (low, high), answer, verdict)


def _limits_lfl(sensor: Sensor, what: str) -> tuple[float, float]:
    band = sensor.trip if what == TRIP else sensor.clear
    assert band is not None
    band = sensor.at_nominal(band)
    low, high = sorted((sensor.level_at(band.low_uv), sensor.level_at(band.high_uv)))
    return low, high


def _telling(
    stairs: Staircase, answers: Sequence[Answer], seen: Seen, parameters: Parameters
) -> list[_Telling]:
    """The outputs that have an answer to show: they rest in one place before it and in another after it."""
    calls, levels = seen.as_of(stairs.begins_us)
    found = []
    for answer in answers:
        for name in answer.outputs:
            output = parameters.output(name)
            before, after = (reads(output, mode, calls) for mode in (answer.before, answer.after))
            if before is not after and levels[name] is before:
                found.append(_Telling(name, after, answer))
    return found


def _first_answer(stairs: Staircase, telling: Sequence[_Telling], seen: Seen) -> tuple[Answer, Change] | None:
    """The first move that can be an answer, before anything else was done."""
    for event in seen.events:
        if not isinstance(event, Change) or event.stamp.latest_us < stairs.begins_us:
            continue
        if event.stamp.earliest_us > stairs.until_us:
            return None
        for one in telling:
            if (event.output, event.on) == (one.output, one.on):
                return one.answer, event
    return None


def _between(stairs: Staircase, answer: Answer, change: Change, clock: ClockFit) -> _Between | None:
    """The levels between which the board decided; None where no step can have brought the answer about."""
    span = answer.span
    slack_us = change.stamp.half_us + math.ceil(span.max_us * clock.rate_ppm / 1e6)
    opens_us = change.stamp.mid_us - span.max_us - slack_us
    closes_us = change.stamp.mid_us - span.min_us + slack_us
    steps = stairs.steps
    places = [
        i
        for i in range(1, len(steps))
        if steps[i].stamp.latest_us >= opens_us and steps[i].stamp.earliest_us <= closes_us
    ]
    if not places:
        return None
    before, reached = steps[places[0] - 1], steps[places[-1]]
    after_us = [s.stamp.earliest_us for s in steps[places[-1] + 1 :]]
    stood_us = min([*after_us, change.stamp.latest_us]) - reached.stamp.latest_us
    bound_uv = max(before.bound_uv, reached.bound_uv)
    settling_uv = bound_uv * math.exp(-max(0, stood_us) / _SETTLES_US)
    low, high = sorted((before.uv, reached.uv))
    return _Between(low, high, ((high - low) / 2, settling_uv, bound_uv))


def _with_supply(sensor: Sensor, between: _Between) -> _Between:
    """A ratiometric level moves with the board's sensor supply, which the fixture cannot sense."""
    if sensor.supply is None:
        return between
    supply = sensor.supply
    away = max(supply.high_uv - supply.nominal_uv, supply.nominal_uv - supply.low_uv) / supply.nominal_uv
    middle_uv = (between.low_uv + between.high_uv) / 2
    return _Between(between.low_uv, between.high_uv, (*between.half_widths_uv, middle_uv * away))


def _lfl(sensor: Sensor, between: _Between) -> tuple[float, tuple[float, ...]]:
    """The level in %LFL, and its half-widths, as `level_budget` has them."""
    low, high = sorted((sensor.level_at(between.low_uv), sensor.level_at(between.high_uv)))
    _, *others = between.half_widths_uv
    source = others[1]
    per_uv = max(
        abs(sensor.level_at(uv + source) - sensor.level_at(uv - source)) / (2 * source)
        for uv in (between.low_uv, between.high_uv)
    )
    return (low + high) / 2, ((high - low) / 2, *(a * per_uv for a in others))


def _book(
    stairs: Staircase, what: str, between: _Between, limits: tuple[float | None, float], answer: Answer,
    parameters: Parameters, book: Book, claim: bool = False,
) -> str:  # fmt: skip
    """The finding of one level against its limits; returns its verdict."""
    value, half_widths = _lfl(stairs.sensor, between)
    budget = level_budget(half_widths, "%LFL")
    below = math.inf if limits[0] is None else value - limits[0]
    margin = min(below, limits[1] - value)
    verdict, kind = _decided(margin, budget.bound, budget.expanded, book.decision), None
    if verdict == "fail":
        kind = "too-low" if below < limits[1] - value else "too-high"
    said = f"sensor {stairs.sensor.name} {'trips' if what == TRIP else 'clears'} at {_said(stairs.sensor, between)}"
    if claim:
        said += f", claimed to be at most {limits[1]:.2f} %LFL"
    elif kind is not None:
        said += f", {abs(margin):.2f} %LFL {kind.replace('-', ' ')}"
        if answer.by_release:
            said += "; told by the release, so it may be the hold that is not as it must be"
    book.findings.append(
        Finding(
            requirement="level", output=None, verdict=verdict, kind=kind,
            at_s=(stairs.begins_us - book.zero_us) / 1e6, text=said, measured=value, limits=limits,
            bound=budget.bound, uncertainty=budget.expanded, margin=margin, unit="%LFL",
            half_widths=half_widths,
            conformance=conformance(value, budget.combined, limits[0], limits[1], budget.bound),
        )
    )  # fmt: skip
    if verdict == "pass":
        book.proven.add(("level", None, None))
    return verdict


def _decided(margin: float, bound: float, expanded: float, decision: str) -> str:
    if decision == "simple":
        return "pass" if margin >= 0 else "fail"
    if margin >= expanded:
        return "pass"
    return "fail" if -margin > bound else "inconclusive"


def _never(
    stairs: Staircase,
    what: str,
    telling: Sequence[_Telling],
    parameters: Parameters,
    book: Book,
    clock: ClockFit,
) -> None:
    """A board that did not answer although the signal surely was beyond the level for long enough."""
    latest_us = max(one.answer.span.max_us for one in telling)
    needed_us = latest_us + math.ceil(latest_us * clock.rate_ppm / 1e6) + 1_000_000 // parameters.frequency_hz
    beyond = Condition.HIGH if what == TRIP else Condition.LOW
    sensor = stairs.sensor
    stood = [
        s
        for s in stairs.steps[1:]
        if readings(sensor, Voltage(s.uv, s.bound_uv)) == {beyond}
        and stairs.until_us - s.stamp.latest_us > needed_us
    ]
    if not stood:
        return
    last = f"{sensor.level_at(stood[-1].uv):.2f} %LFL ({stood[-1].uv / 1e6:.3f} V)"
    at_s = (stairs.begins_us - book.zero_us) / 1e6
    if telling[0].answer.by_release:
        # Which of the two it is, the release that did not come cannot tell.
        text = f"nothing was released, though sensor {sensor.name} fell to {last}: it does not clear, or its hold never ends"
        book.findings.append(Finding("hold", None, "fail", at_s, text, kind="missing"))
        return
    low, high = _limits_lfl(sensor, what)
    does, way, kind = ("trip", "up", "too-high") if what == TRIP else ("clear", "down", "too-low")
    text = f"sensor {sensor.name} does not {does} {way} to {last}"
    book.findings.append(
        Finding("level", None, "fail", at_s, text, kind=kind, limits=(low, high), unit="%LFL")
    )


def _said(sensor: Sensor, between: _Between) -> str:
    """`18.2 ± 0.5 %LFL (1.228 ± 0.019 V, 26208 ± 690 ppm)`."""
    value, uncertainty = _by_unit(sensor, between)
    rest = [f"{value['V']:.3f} ± {uncertainty['V']:.3f} V"]
    if "ppm" in value:
        rest.append(f"{value['ppm']:.0f} ± {uncertainty['ppm']:.0f} ppm")
    return f"{value['%LFL']:.2f} ± {uncertainty['%LFL']:.2f} %LFL ({', '.join(rest)})"


def _by_unit(sensor: Sensor, between: _Between) -> tuple[dict[str, float], dict[str, float]]:
    lfl, half_widths = _lfl(sensor, between)
    value = {"V": (between.low_uv + between.high_uv) / 2e6, "%LFL": lfl}
    uncertainty = {
        "V": level_budget(between.half_widths_uv, "uV").expanded / 1e6,
        "%LFL": level_budget(half_widths, "%LFL").expanded,
    }
    return _with_ppm(sensor, value), _with_ppm(sensor, uncertainty)


def _with_ppm(sensor: Sensor, by_unit: dict[str, float]) -> dict[str, float]:
    if sensor.lfl_ppm is not None:
        by_unit["ppm"] = by_unit["%LFL"] / 100 * sensor.lfl_ppm
    return by_unit


def _as_level(
    sensor: Sensor, what: str, between: _Between, limits: tuple[float, float], answer: Answer, verdict: str
) -> Level:
    value, uncertainty = _by_unit(sensor, between)
    return Level(sensor.name, what, value, uncertainty, limits, answer.outputs, verdict)


def _hystereses(found: Sequence[Level], parameters: Parameters) -> Iterator[Level]:
    """Trip less clear, where both were found: measured, not judged, since no profile states it."""
    for sensor in parameters.sensors:
        trip, clear = (
            next((f for f in found if (f.sensor, f.what) == (sensor.name, w)), None) for w in (TRIP, CLEAR)
        )
        if trip is None or clear is None:
            continue
        # Both with the same signal source: taken as independent, which states the larger uncertainty.
        yield Level(
            sensor.name, HYSTERESIS,
            {unit: abs(trip.value[unit] - clear.value[unit]) for unit in trip.value},
            {unit: math.hypot(trip.uncertainty[unit], clear.uncertainty[unit]) for unit in trip.value},
            (None, None), clear.told_by, None,
        )  # fmt: skip
