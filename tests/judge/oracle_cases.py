"""Short cases for the oracle and the judge: parameters on a grid, random stimuli, the same case as a trace."""

from __future__ import annotations

import dataclasses
import random

from bench.judge.feed import output_channel
from bench.judge.findings import Finding
from bench.judge.judge import open_case
from bench.trace.records import Applied, Edge, End, Header, Readback, Record, Snapshot, Trace, Value, Voltage
from firmware_ref.parameters import (
    Band,
    Interval,
    Mode,
    Output,
    Parameters,
    Policy,
    Restart,
    Rules,
    Sensor,
    Timing,
)
from tests.boards import policies
from tests.judge.flawed import STEP_US, built_otherwise
from tests.judge.oracle.board import Rulebook
from tests.judge.oracle.decide import Case, Stimulus, explainable, play, spoiled
from tests.judge.oracle.shrink import shrunk
from tests.judge.oracle.unit import BETWEEN, HIGH, LOST, LOW

HALF_US = 1_000
SIGNALS: dict[tuple[str, ...], Value] = {
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
    """A kind of case: which stimuli are drawn, and which rules may stand.

    `unstated`: the share of timings, and of rules, that are not stated.
    `same`: the share of stimuli given at the instant of the one before.
    `shapes`: outputs of every shape, least times in follow.  `conditions`:
    rules that make an end wait for a condition.
    """

    name: str
    signals: tuple[tuple[str, ...], ...]
    bands: tuple[str | None, ...] = ("continue",)
    losses: tuple[str | None, ...] = ("run",)
    latching: tuple[bool | None, ...] = (False,)
    cuts: float = 0.0
    after_cut: tuple[str | None, ...] = ("forget",)
    unstated: float = 0.0
    sensors: int = 1
    restart: bool = False
    same: float = 0.0
    shapes: bool = False
    conditions: bool = False


_BANDS = ("continue", "pause", "restart")
_LOSSES = ("run", "pause", "restart")
_AFTER = ("resume", "restart_hold", "forget")
_CLEAR = ((LOW,), (HIGH,))
_LOST = (*_CLEAR, (LOST,))
_EVERY = (*_CLEAR, (BETWEEN,), (BETWEEN, LOW), (BETWEEN, HIGH), (LOST,))
_LATCHES = (False, True)
FAMILIES = (
    Family("core", _CLEAR, _BANDS),
    Family("levels", _EVERY[:-1], _BANDS),
    Family("fault", _LOST, latching=_LATCHES),
    Family("loss in the hold", _LOST, _BANDS, _LOSSES, _LATCHES),
    Family("levels and losses", _EVERY, _BANDS, _LOSSES, _LATCHES),
    Family("shapes", _CLEAR, _BANDS, same=0.3, shapes=True),
    Family("conditions", _EVERY, _BANDS, _LOSSES, _LATCHES, conditions=True),
    Family("cuts", _CLEAR, _BANDS, cuts=0.3, after_cut=_AFTER),
    Family("cuts and losses", _EVERY, _BANDS, _LOSSES, _LATCHES, cuts=0.25, after_cut=_AFTER, shapes=True),
    Family("not stated", _LOST, (*_BANDS, None), (*_LOSSES, None), (*_LATCHES, None), unstated=0.2),
    Family("not stated, cuts", _LOST, (*_BANDS, None), (*_LOSSES, None), (*_LATCHES, None), cuts=0.2,
           after_cut=(*_AFTER, None, None), unstated=0.15),
    Family("two sensors", _LOST, _BANDS, _LOSSES, _LATCHES, sensors=2),
    Family("restart", _LOST, latching=(False,), restart=True, cuts=0.1, same=0.1),
    Family("everything", _EVERY, (*_BANDS, None), (*_LOSSES, None), (*_LATCHES, None), cuts=0.15,
           after_cut=(*_AFTER, None), unstated=0.08, sensors=2, restart=True, same=0.2, shapes=True,
           conditions=True),
)  # fmt: skip

#: Cases (family, seed) of the seeded share in which the two are known to disagree.
KNOWN: frozenset[tuple[str, int]] = frozenset()


def parameters_of(family: Family, rng: random.Random, slow: bool = False) -> Parameters:
    """Tiny intervals, drawn anew for every case; `slow`: wide enough for relays, which take their time."""
    return _Chance(family, rng, slow).parameters()


class _Chance:
    """Draws the parts of one profile."""

    def __init__(self, family: Family, rng: random.Random, slow: bool) -> None:
        self.family, self.rng, self.least = family, rng, int(slow)

    def span(self, least: int, most: int, wide: int = 2) -> tuple[int, int]:
        first = self.rng.randint(least, most)
        return first, first + self.rng.randint(self.least, wide)

    def within(self) -> Interval:
        return steps(0, self.rng.randint(self.least, 2))

    def stated(self, span: Interval) -> Interval | None:
        return None if self.rng.random() < self.family.unstated else span

    def parameters(self) -> Parameters:
        rng, family = self.rng, self.family
        trip, loss = self.span(1, 3), self.span(2, 4)
        outputs = [self._compressor(trip, loss)]
        if rng.random() < 0.6:
            contact = family.shapes and rng.random() < 0.3
            outputs.append(self._contact(trip, loss) if contact else self._fan(trip, loss))
        timing = Timing(
            boot=steps(0, rng.randint(self.least, 1)), warm_up=steps(*self.span(1, 3)),
            trip=self.stated(steps(*trip)), clear=self.stated(steps(*self.span(1, 2))),
            hold=self.stated(steps(*self.span(4, 6))), loss=self.stated(steps(*loss)),
            return_=self.stated(steps(*self.span(1, 3))),
            ride_through=self.stated(steps(*self.span(1, 2))) if family.cuts else steps(0, 1),
            glitch_us=30_000, settle_us=0,
        )  # fmt: skip
        sensors = tuple(
            Sensor(
                str(n + 1), "analog", frozenset({"open"}), ((0.0, 500_000), (100.0, 4_500_000)),
                trip=Band(1_140_000, 1_300_000), clear=Band(820_000, 980_000),
            )
            for n in range(family.sensors)
        )  # fmt: skip
        return Parameters(
            name="oracle", frequency_hz=60, calls_fed_from="bench",
            calls=tuple(o.name for o in outputs if o.call), outputs=tuple(outputs), sensors=sensors,
            timing=timing, rules=self._rules(), must_prove=(),
        )  # fmt: skip

    def _rules(self) -> Rules:
        rng, family = self.rng, self.family
        latching = rng.choice(family.latching)
        # Half a step off, so that no measured length lies on its edge.
        reset = STEP_US * rng.randint(3, 6) - STEP_US // 2 if family.cuts and latching is not False else None
        some = family.conditions
        return Rules(
            lost_when=rng.choice(("any", "any", "all")) if family.sensors > 1 else "any",
            hold_on_band=rng.choice(family.bands), hold_when_lost=rng.choice(family.losses),
            hold_ends_only_when=rng.choice((None, "low")) if some else None,
            check_before_normal=some and rng.random() < 0.5,
            return_only_when=rng.choice((None, "not-high")) if some else None,
            after_fault=rng.choice(("normal", "hold")) if some else "normal",
            latching=latching, reset_supply_off_us=reset, after_supply_loss=rng.choice(family.after_cut),
        )  # fmt: skip

    def _compressor(self, trip: tuple[int, int], loss: tuple[int, int]) -> Output:
        rng, family = self.rng, self.family
        start, fault = rng.choice(("off", "off", "follow")), rng.choice(("off", "off", "follow"))
        rests = "follow" if family.shapes and rng.random() < 0.2 else "off"
        restart = None
        if family.restart and rests == "off":
            events = rng.sample(("release", "return", "power-up", "any-off"), rng.randint(1, 2))
            restart, fault = Restart(frozenset(events), steps(*self.span(2, 5))), "off"
        modes = policies(rests, start, "follow", "off", "off", fault)
        return self._output("Y", "ac", "call", modes, trip, loss, restart)

    def _fan(self, trip: tuple[int, int], loss: tuple[int, int]) -> Output:
        fan, fault = self.rng.choice(("on", "off", "follow")), self.rng.choice(("on", "follow", "off"))
        return self._output(
            "G", "ac", "supply", policies("off", fan, "follow", "on", "on", fault), trip, loss
        )

    def _contact(self, trip: tuple[int, int], loss: tuple[int, int]) -> Output:
        modes = policies("on", *(self.rng.choice(("on", "off")) for _ in range(5)))
        return self._output("alarm.nc", "contact-nc", "own", modes, trip, loss)

    def _output(
        self, name: str, kind: str, feed: str, modes: dict[Mode, Policy],
        trip: tuple[int, int], loss: tuple[int, int], restart: Restart | None = None,
    ) -> Output:  # fmt: skip
        rng = self.rng
        least = int(self.family.shapes and rng.random() < 0.4)
        on, off, react, later = self.within(), self.within(), self.within(), rng.randint(0, 1)
        on = Interval(on.min_us + least * STEP_US, on.max_us + least * STEP_US)
        if feed == "supply":  # one fed by its call cannot go off late
            off = Interval(off.min_us + least * STEP_US, off.max_us + least * STEP_US)
        return Output(
            name=name, kind=kind, feed=feed, call=None if feed == "own" else name, modes=modes,
            follow_on=on, follow_off=off, react_on=react, react_off=react,
            trip=self.stated(steps(trip[0] + rng.randint(0, later), trip[1] + later)),
            loss=self.stated(steps(loss[0], loss[1] + rng.randint(0, 1))), restart=restart,
        )  # fmt: skip


def stimuli_of(
    family: Family, parameters: Parameters, rng: random.Random, lively: bool = False
) -> tuple[list[Stimulus], int]:
    """Random stimuli, and when to stop watching; `lively`: with calls and a leak more often, watched for longer."""
    return _Sequence(family, parameters, rng, lively).drawn()


class _Sequence:
    """Waits are drawn near the parameters' own timers.

    Half of the cases begin with a leak that ends, so that what follows falls into leak-active or the hold.
    """

    def __init__(self, family: Family, parameters: Parameters, rng: random.Random, lively: bool) -> None:
        self.family, self.parameters, self.rng, self.lively = family, parameters, rng, lively
        self.now, self.cut_at = 2, -1
        self.supplied = True
        self.calls = dict.fromkeys(parameters.calls, False)
        self.signals: dict[str, tuple[str, ...]] = {}
        self.found: list[Stimulus] = []

    def drawn(self) -> tuple[list[Stimulus], int]:
        rng, t = self.rng, self.parameters.timing
        aimed = rng.random() < (0.75 if self.lively else 0.5)
        for sensor in self.parameters.sensors:
            calm = aimed or rng.random() < 0.7
            self._sensor(1, sensor.name, (LOW,) if calm else rng.choice(self.family.signals))
        self.found.append(Stimulus(2, "supply", "", True))
        for _ in self.parameters.calls if self.lively else ():
            self.now += rng.choice((0, 0, 1, 2))
            self._call()
        if aimed:
            self._leak(t)
        spans = [t.trip, t.clear, t.hold, t.loss, t.return_, t.warm_up]
        spans += [t.ride_through, t.ride_through] if self.family.cuts else []
        spans += [o.restart.delay for o in self.parameters.outputs if o.restart for _ in range(2)]
        known = [s for s in spans if s is not None]
        for _ in range(rng.randint(1, 5) if aimed else rng.randint(2, 8)):
            span = rng.choice(known)
            if rng.random() >= self.family.same:
                self.now += rng.choice((1, 1, 2, 3, span.min_us // STEP_US + 1, _most(span) + 1))
            self._stimulus(0.2 if aimed else 0.45)
        return sorted(self.found, key=lambda s: s.at), self.now + rng.choice(
            (8, 12, 16, 20) if self.lively else (1, 3, 6, 12, 16)
        )

    def _leak(self, t: Timing) -> None:
        rng = self.rng
        self.now += rng.randint(1, 4)
        if not self.lively or rng.random() < 0.3:
            self._call()
        self.now += rng.randint(1, 3)
        leaking = rng.choice(self.parameters.sensors).name
        self._sensor(self.now, leaking, (HIGH,))
        self.now += rng.randint(max(1, _most(t.trip) - 1), _most(t.trip) + 2)
        self._sensor(self.now, leaking, (LOW,))
        self.now += rng.randint(1, max(1, _most(t.clear) + _most(t.hold) - 1))

    def _stimulus(self, calls: float) -> None:
        rng = self.rng
        if rng.random() < (self.family.cuts if self.supplied else 0.7):
            # Two dips closer than a second count as one or as two: that stays out of here.
            if not self._moved("supply", "") and self.now > self.cut_at + 1:
                self.supplied = not self.supplied
                self.cut_at = self.now if self.supplied else self.cut_at
                self.found.append(Stimulus(self.now, "supply", "", self.supplied))
        elif rng.random() < calls:
            self._call()
        else:
            name = rng.choice(list(self.signals))
            others = [s for s in self.family.signals if s != self.signals[name]]
            self._sensor(self.now, name, rng.choice(others))

    def _call(self) -> None:
        name = self.rng.choice(self.parameters.calls)
        if not self._moved("call", name):
            self.calls[name] = not self.calls[name]
            self.found.append(Stimulus(self.now, "call", name, self.calls[name]))

    def _sensor(self, at: int, name: str, signal: tuple[str, ...]) -> None:
        if not self._moved("sensor", name):
            self.signals[name] = signal
            self.found.append(Stimulus(at, "sensor", name, signal))

    def _moved(self, what: str, name: str) -> bool:
        """Whether this was moved at this instant already."""
        return any(s.at == self.now and (s.what, s.name) == (what, name) for s in self.found)


def _most(span: Interval | None) -> int:
    return 0 if span is None else span.max_us // STEP_US


def trace_of(case: Case, parameters: Parameters) -> Trace:
    """The case as a trace with an exact clock, one step a second, every event known to ±1 ms."""
    values: dict[str, Value] = {"main": "open", "sense.board": "off"}
    values |= {f"sensor.{x.name}": "open" for x in parameters.sensors}
    values |= {f"call.{c}": "off" for c in parameters.calls}
    words = {o.name: ("off", "on") if o.kind == "ac" else ("open", "closed") for o in parameters.outputs}
    values |= {output_channel(name): words[name][on] for name, on in rests_of(parameters).items()}
    timed: list[tuple[int, int, str, Value, bool]] = []
    for s in case.stimuli:
        if s.what == "sensor":
            timed.append((s.at, 0, f"sensor.{s.name}", SIGNALS[tuple(sorted(s.value))], True))  # type: ignore[call-overload]
        elif s.what == "call":
            timed.append((s.at, 0, f"call.{s.name}", "on" if s.value else "off", True))
        else:
            timed.append((s.at, 0, "sense.board", "on" if s.value else "off", False))
    timed += [(at, 1, output_channel(name), words[name][on], False) for at, name, on in case.moves]
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
    opened = open_case(trace_of(case, parameters), parameters, parameters.decision)
    opened.tracker.run(opened.end_us)
    return [f for f in opened.tracker.book.findings if f.verdict == "fail"]


def rests_of(parameters: Parameters) -> dict[str, bool]:
    """How each output reads before anything moved."""
    return {o.name: o.modes[Mode.UNPOWERED] is Policy.ON for o in parameters.outputs}


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
    """A random case: what a board drawn at random shows, the same spoiled in one move, or what a flawed board shows."""
    rng = random.Random(f"{family.name} {seed}")
    parameters = parameters_of(family, rng)
    book = book_of(parameters)
    fate = rng.random()
    stimuli, end = stimuli_of(family, parameters, rng, lively=fate < 0.4)
    if fate < 0.4:
        flaw = rng.choice(list(built_otherwise(parameters, 1, 0)))
        kind, case = "flawed", play(stimuli, end, book_of(flaw.built), rng, 0.2)
    else:
        kind, case = "as played", play(stimuli, end, book, rng, rng.choice((0.1, 0.3, 1.0)))
    if fate > 0.7:
        kind, case = spoiled(case, rests_of(parameters), rng)
    return Answers(parameters, case, kind, explainable(case, book) is None, not judge_fails(case, parameters))


def smallest(found: Answers) -> Case:
    """The smallest case on which the two disagree in the same way."""
    book = book_of(found.parameters)

    def shows(case: Case) -> bool:
        if (explainable(case, book) is None) != found.explainable:
            return False
        return (not judge_fails(case, found.parameters)) == found.judge_allows

    return shrunk(found.case, rests_of(found.parameters), shows)


def told(found: Answers, case: Case) -> str:
    """A case in lines that can be worked through on paper."""
    p, t = found.parameters, found.parameters.timing
    spans = {"boot": t.boot, "warm-up": t.warm_up, "trip": t.trip, "clear": t.clear, "hold": t.hold,
             "loss": t.loss, "return": t.return_, "ride-through": t.ride_through}  # fmt: skip
    lines = [", ".join(f"{name} {_span(s)}" for name, s in spans.items()), str(p.rules)]
    for o in p.outputs:
        modes = ", ".join(f"{m} {policy}" for m, policy in o.modes.items())
        limits = {
            "follow on": o.follow_on,
            "off": o.follow_off,
            "react": o.react_on,
            "trip": o.trip,
            "loss": o.loss,
            "restart": o.restart.delay if o.restart else None,
        }
        after = sorted(o.restart.after) if o.restart else ""
        lines.append(
            f"{o.name} ({o.feed}): {modes}; {after} "
            + ", ".join(f"{n} {_span(s)}" for n, s in limits.items())
        )
    events = [(s.at, 0, f"{s.what} {s.name} {_words(s.value)}") for s in case.stimuli]
    events += [(at, 1, f"{name} GOES {'ON' if on else 'OFF'}") for at, name, on in case.moves]
    lines.append("; ".join(f"{at}: {text}" for at, _, text in sorted(events)) + f"; end {case.end}")
    lines += [f"judge: {f.requirement} {f.kind}: {f.text}" for f in judge_fails(case, p)]
    return "\n".join(lines)


def _span(span: Interval | None) -> str:
    return "not stated" if span is None else f"{span.min_us / STEP_US:g}..{span.max_us / STEP_US:g}"


def _words(value: object) -> str:
    return "/".join(value) if isinstance(value, tuple) else "on" if value else "off"
