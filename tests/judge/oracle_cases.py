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
from tests.judge.oracle.decide import Case, Stimulus, explainable, play, spoiled
from tests.judge.oracle.shrink import shrunk

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


_ANY_BAND = ("continue", "pause", "restart")
_ANY_LOSS = ("run", "pause", "restart")
_CLEAR = ((LOW,), (HIGH,))
CORE = Family("core", _CLEAR, _ANY_BAND)
LEVELS = Family("levels", (*_CLEAR, (BETWEEN,), (BETWEEN, LOW), (BETWEEN, HIGH)), _ANY_BAND)
FAULT = Family("fault", (*_CLEAR, (LOST,)), latching=(False, True))
LOSS = Family("loss in the hold", (*_CLEAR, (LOST,)), _ANY_BAND, _ANY_LOSS, (False, True))
EVERY_SIGNAL = (*_CLEAR, (BETWEEN,), (BETWEEN, LOW), (BETWEEN, HIGH), (LOST,))
MIXED = Family("levels and losses", EVERY_SIGNAL, _ANY_BAND, _ANY_LOSS, (False, True))
FAMILIES = (CORE, LEVELS, FAULT, LOSS, MIXED)

#: Cases (family, seed) in which the two are known to disagree; the long run lists them all the same.
#: In all of them the judge allows a little too much.  Those worked through: a hull of two windows also
#: holds what lies between; what one output shows does not narrow an order that another has already
#: superseded; a trip after a hold that a short loss disturbed may start as late as a return would.
KNOWN: frozenset[tuple[str, int]] = frozenset(
    {
        ("core", 3416),
        ("core", 3766),
        ("fault", 2961),
        ("levels", 1270),
        ("levels", 1296),
        ("levels", 3193),
        ("levels", 3422),
        ("levels", 3632),
        ("levels", 4065),
        ("levels and losses", 2164),
        ("levels and losses", 2651),
        ("levels and losses", 4556),
        ("loss in the hold", 1025),
        ("loss in the hold", 3543),
        ("loss in the hold", 3868),
        ("loss in the hold", 4646),
    }
)


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
    """At most one stimulus a step; waits are drawn near the parameters' own timers.

    Half of the cases begin with a leak that ends, so that what follows falls into leak-active or the hold.
    """
    t = parameters.timing
    aimed = rng.random() < 0.5
    found = [
        Stimulus(1, "sensor", "1", (LOW,) if aimed or rng.random() < 0.7 else rng.choice(family.signals))
    ]
    found.append(Stimulus(2, "supply", "", True))
    now = 2
    calls = dict.fromkeys(parameters.calls, False)

    def call() -> None:
        name = rng.choice(parameters.calls)
        calls[name] = not calls[name]
        found.append(Stimulus(now, "call", name, calls[name]))

    if aimed:
        now += rng.randint(1, 4)
        call()
        now += rng.randint(1, 3)
        found.append(Stimulus(now, "sensor", "1", (HIGH,)))
        now += rng.randint(max(1, _most(t.trip) - 1), _most(t.trip) + 2)
        found.append(Stimulus(now, "sensor", "1", (LOW,)))
        now += rng.randint(1, _most(t.clear) + _most(t.hold) - 1)
    signal: object = found[-1].value if aimed else found[0].value
    spans = [s for s in (t.trip, t.clear, t.hold, t.loss, t.return_, t.warm_up) if s]
    for _ in range(rng.randint(1, 5) if aimed else rng.randint(2, 8)):
        span = rng.choice(spans)
        now += rng.choice((1, 1, 2, 3, span.min_us // STEP_US + 1, _most(span) + 1))
        if rng.random() < (0.2 if aimed else 0.45):
            call()
        else:
            signal = rng.choice([s for s in family.signals if s != signal])
            found.append(Stimulus(now, "sensor", "1", signal))
    return found, now + rng.choice((1, 3, 6, 12, 16))


def _most(span: Interval | None) -> int:
    return 0 if span is None else span.max_us // STEP_US


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


@dataclasses.dataclass(frozen=True)
class Answers:
    """One case, and what oracle and judge say of it."""

    parameters: Parameters
    case: Case
    kind: str
    explainable: bool
    judge_allows: bool

    @property
    def agree(self) -> bool:
        return self.explainable == self.judge_allows


def answers(family: Family, seed: int) -> Answers:
    """A random case: what a board drawn at random shows, or the same spoiled in one move."""
    rng = random.Random(f"{family.name} {seed}")
    parameters = parameters_of(family, rng)
    book = book_of(parameters)
    stimuli, end = stimuli_of(family, parameters, rng)
    kind, case = "as played", play(stimuli, end, book, rng, rng.choice((0.1, 0.3, 1.0)))
    if rng.random() < 0.6:
        kind, case = spoiled(case, parameters.calls, rng)
    return Answers(parameters, case, kind, explainable(case, book) is None, not judge_fails(case, parameters))


def smallest(found: Answers) -> Case:
    """The smallest case on which the two disagree in the same way."""
    book = book_of(found.parameters)

    def shows(case: Case) -> bool:
        if (explainable(case, book) is None) != found.explainable:
            return False
        return (not judge_fails(case, found.parameters)) == found.judge_allows

    return shrunk(found.case, shows)


def told(found: Answers, case: Case) -> str:
    """A case in lines that can be worked through on paper."""
    p, t = found.parameters, found.parameters.timing
    spans = {"boot": t.boot, "warm-up": t.warm_up, "trip": t.trip, "clear": t.clear, "hold": t.hold,
             "loss": t.loss, "return": t.return_}  # fmt: skip
    lines = [", ".join(f"{name} {_span(s)}" for name, s in spans.items()), str(p.rules)]
    for o in p.outputs:
        modes = ", ".join(f"{m} {policy}" for m, policy in o.modes.items())
        limits = {
            "follow on": o.follow_on,
            "off": o.follow_off,
            "react": o.react_on,
            "trip": o.trip,
            "loss": o.loss,
        }
        lines.append(f"{o.name}: {modes}; " + ", ".join(f"{n} {_span(s)}" for n, s in limits.items()))
    events = [(s.at, 0, f"{s.what} {s.name} {_words(s.value)}") for s in case.stimuli]
    events += [(at, 1, f"{name} GOES {'ON' if on else 'OFF'}") for at, name, on in case.moves]
    lines.append("; ".join(f"{at}: {text}" for at, _, text in sorted(events)) + f"; end {case.end}")
    lines += [f"judge: {f.requirement} {f.kind}: {f.text}" for f in judge_fails(case, p)]
    return "\n".join(lines)


def _span(span: Interval | None) -> str:
    return "not stated" if span is None else f"{span.min_us // STEP_US}..{span.max_us // STEP_US}"


def _words(value: object) -> str:
    return "/".join(value) if isinstance(value, tuple) else "on" if value else "off"
