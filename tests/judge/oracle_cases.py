"""Short cases for the oracle and the judge: parameters on a grid, random stimuli, the same case as a trace."""

from __future__ import annotations

import dataclasses
import random
from collections.abc import Sequence

from bench.judge import failures
from bench.judge.book import Book
from bench.judge.clock import EXACT
from bench.judge.feed import Feed
from bench.judge.findings import Finding
from bench.judge.tracker import Tracker
from bench.judge.window import Stamp
from bench.trace.records import Applied, Edge, End, Header, Readback, Record, Snapshot, Trace, Value, Voltage
from firmware_ref.parameters import Band, Interval, Output, Parameters, Rules, Sensor, Timing
from tests.boards import policies
from tests.judge.oracle.board import BETWEEN, HIGH, LOST, LOW, Rulebook
from tests.judge.oracle.decide import Case, Stimulus

STEP_US = 1_000_000
HALF_US = 1_000
_SIGNALS: dict[tuple[str, ...], Value] = {
    (LOW,): Voltage(800_000, 5_000),
    (BETWEEN,): Voltage(1_060_000, 5_000),
    (HIGH,): Voltage(1_330_000, 5_000),
    (LOST,): "open",
    (BETWEEN, LOW): Voltage(900_000, 5_000),
    (BETWEEN, HIGH): Voltage(1_200_000, 5_000),
}


def steps(least: int, most: int) -> Interval:
    return Interval(least * STEP_US, most * STEP_US)


@dataclasses.dataclass(frozen=True)
class Family:
    """A kind of case: which stimuli are drawn, and which rules may stand."""

    name: str
    signals: tuple[tuple[str, ...], ...]
    bands: tuple[str | None, ...] = ("continue",)
    losses: tuple[str | None, ...] = ("run",)
    latching: tuple[bool | None, ...] = (False,)


CORE = Family("core", ((LOW,), (HIGH,)), bands=("continue", "pause", "restart"))
FAULT = Family("loss out of the hold", ((LOW,), (HIGH,), (LOST,)), latching=(False, True))


def parameters_of(family: Family, rng: random.Random) -> Parameters:
    """Tiny intervals, drawn anew for every case."""

    def span(least: int, most: int, wide: int = 2) -> tuple[int, int]:
        first = rng.randint(least, most)
        return first, first + rng.randint(0, wide)

    trip, loss = span(1, 3), span(2, 4)
    start, fault = rng.choice(("off", "off", "follow")), rng.choice(("off", "off", "follow"))
    fan = rng.choice(("on", "off", "follow"))

    def output(name: str, feed: str, kinds: Sequence[str]) -> Output:
        react, follow = (
            steps(0, rng.randint(0, 2)),
            (steps(0, rng.randint(0, 2)), steps(0, rng.randint(0, 2))),
        )
        later = rng.randint(0, 1)
        return Output(
            name=name, kind="ac", feed=feed, call=name, modes=policies(*kinds),
            follow_on=follow[0], follow_off=follow[1], react_on=react, react_off=react,
            trip=steps(trip[0] + rng.randint(0, later), trip[1] + later),
            loss=steps(loss[0], loss[1] + rng.randint(0, 1)),
        )  # fmt: skip

    outputs = [output("Y", "call", ("off", start, "follow", "off", "off", fault))]
    if rng.random() < 0.6:
        outputs.append(
            output("G", "supply", ("off", fan, "follow", "on", "on", rng.choice(("on", "follow", "off"))))
        )
    timing = Timing(
        boot=steps(0, rng.randint(0, 1)), warm_up=steps(*span(1, 3)), trip=steps(*trip), clear=steps(*span(1, 2)),
        hold=steps(*span(4, 6)), loss=steps(*loss), return_=steps(*span(1, 3)), ride_through=Interval(20_000, 200_000),
        glitch_us=30_000, settle_us=0,
    )  # fmt: skip
    sensor = Sensor(
        "1", "analog", frozenset({"open"}), ((0.0, 500_000), (100.0, 4_500_000)),
        trip=Band(1_140_000, 1_300_000), clear=Band(820_000, 980_000),
    )  # fmt: skip
    rules = Rules(
        hold_on_band=rng.choice(family.bands), hold_when_lost=rng.choice(family.losses),
        latching=rng.choice(family.latching), after_supply_loss="forget",
    )  # fmt: skip
    return Parameters(
        name="oracle", frequency_hz=60, calls_fed_from="bench", calls=tuple(o.name for o in outputs),
        outputs=tuple(outputs), sensors=(sensor,), timing=timing, rules=rules, must_prove=(),
    )  # fmt: skip


def stimuli_of(family: Family, parameters: Parameters, rng: random.Random) -> tuple[list[Stimulus], int]:
    """At most one stimulus a step; waits are drawn near the parameters' own timers."""
    now = 1
    found = [Stimulus(now, "sensor", "1", rng.choice(family.signals) if rng.random() < 0.3 else (LOW,))]
    now += 1
    found.append(Stimulus(now, "supply", "", True))
    calls = dict.fromkeys(parameters.calls, False)
    signal: object = found[0].value
    t = parameters.timing
    spans = [s for s in (t.trip, t.clear, t.hold, t.loss, t.return_, t.warm_up) if s]
    for _ in range(rng.randint(2, 8)):
        span = rng.choice(spans)
        now += rng.choice((1, 1, 2, 3, span.min_us // STEP_US + 1, span.max_us // STEP_US + 1))
        if rng.random() < 0.45:
            name = rng.choice(parameters.calls)
            calls[name] = not calls[name]
            found.append(Stimulus(now, "call", name, calls[name]))
        else:
            signal = rng.choice([s for s in family.signals if s != signal])
            found.append(Stimulus(now, "sensor", "1", signal))
    return found, now + rng.choice((1, 3, 6, 12))


def trace_of(case: Case, parameters: Parameters) -> Trace:
    """The case as a trace with an exact clock, one step a second, every event known to ±1 ms."""
    values: dict[str, Value] = {"main": "open", "sense.board": "off", "sensor.1": "open"}
    values |= {f"call.{c}": "off" for c in parameters.calls} | {
        f"out.{o.name}": "off" for o in parameters.outputs
    }
    timed: list[tuple[int, int, str, Value, bool]] = []
    for s in case.stimuli:
        if s.what == "sensor":
            timed.append((s.at, 0, "sensor.1", _SIGNALS[tuple(sorted(s.value))], True))  # type: ignore[call-overload]
        elif s.what == "call":
            timed.append((s.at, 0, f"call.{s.name}", "on" if s.value else "off", True))
        else:
            timed.append((s.at, 0, "sense.board", "on" if s.value else "off", False))
    timed += [(at, 1, f"out.{name}", "on" if on else "off", False) for at, name, on in case.moves]
    records: list[Record] = [Snapshot(0, values)]
    for at, _, ch, value, stimulus in sorted(timed, key=lambda e: e[:2]):
        seq, first, last = len(records), at * STEP_US - HALF_US, at * STEP_US + HALF_US
        if stimulus:
            records.append(Applied(seq, seq, ch, value, first, last))
            what = "terminal" if ch.startswith("sensor") else "position"
            records.append(Readback(seq + 1, seq, ch, value, first, last, what))
        else:
            records.append(Edge(seq, ch, str(value), first, last))
    records.append(End(case.end * STEP_US + STEP_US // 2, "complete"))
    return Trace(Header(profile={}, profile_sha256="", wiring={}, clock="exact"), tuple(records))


def judge_fails(case: Case, parameters: Parameters) -> list[Finding]:
    """What the judge finds failed, whether or not any output ever answered."""
    trace = trace_of(case, parameters)
    assert trace.snapshot is not None
    zero, book = Stamp(0, 0), Book(parameters, 0, parameters.decision)
    feed = Feed(parameters, EXACT, book)
    tracker = Tracker.start(parameters, 0, zero, feed.start(trace.snapshot), book, failures.resolve)
    end_us = trace.records[-1].tick_us  # type: ignore[union-attr]
    events = [event for record in trace.records for event in feed.record(record)]
    tracker.push(events + feed.settle(end_us + STEP_US))
    tracker.run(end_us)
    return [f for f in book.findings if f.verdict == "fail"]


def book_of(parameters: Parameters) -> Rulebook:
    return Rulebook(parameters, STEP_US)
