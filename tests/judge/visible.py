"""Faulty boards under random sequences, and whether what they showed was more than any good board could show.

Profiles, stimuli and the oracle's grid are those of `oracle_cases`; the board
is the simulated one, in true microseconds, on a stand with every error a bench
may have.  A board is faulty by one fault of the catalogue, or because it was
built to parameters in which one interval lies outside the profile's by a step
or more, or one rule is another one; the judge is given the profile.

A fault is *visible* if the oracle explains none of three roundings of the
trace to its grid.  A good board's trace, rounded up from any fixed share of a
step on, is one that a good board may show: so what a good board could have
done within a sixth of a step is not counted as visible, and that is more than
two bounds.  Like the judge, the oracle knows that a board may have come with
something to remember.
"""

from __future__ import annotations

import dataclasses
import random
from collections.abc import Iterator, Sequence
from typing import NamedTuple

from bench.judge.findings import Finding, Judgement
from bench.judge.judge import judge_trace
from bench.simulated.faults import Fault, catalogue, parse
from bench.trace.records import Voltage
from firmware_ref.parameters import Band, Interval, Mode, Output, Parameters, Policy
from tests.judge.oracle.decide import Case, Stimulus, explainable
from tests.judge.oracle_cases import (
    FAMILIES,
    SIGNALS,
    STEP_US,
    Family,
    book_of,
    parameters_of,
    rests_of,
    stimuli_of,
)
from tests.judge.stand import Stand

#: From which share of a step on an edge is rounded up, in the three roundings.
ROUNDINGS = (1 / 2, 1 / 6, 5 / 6)


class Flaw(NamedTuple):
    """One fault: its name, the board as it was built, what its program gets wrong.

    `breaks`: the requirements that it breaks, `where`: outputs on which any requirement may be the first.
    """

    name: str
    built: Parameters
    faults: tuple[Fault, ...]
    breaks: frozenset[str]
    where: frozenset[str] = frozenset()


class Run(NamedTuple):
    """One board under one sequence."""

    family: Family
    parameters: Parameters
    flaw: Flaw
    stimuli: tuple[Stimulus, ...]
    end: int
    stand: Stand


# -- one run ----------------------------------------------------------------------------------------


def run(seed: int, flawed: bool = True) -> Run:
    """The run of one seed: family, profile, fault, sequence and board all follow from it."""
    rng = random.Random(f"visible {seed}")
    family = FAMILIES[seed % len(FAMILIES)]
    parameters = parameters_of(family, rng, slow=True)
    flaws = list(flaws_of(parameters, rng))
    # One kind of fault is as likely as another, however many places it may be in.
    kind = rng.choice(sorted({_kind(f.name) for f in flaws}))
    flaw = rng.choice([f for f in flaws if _kind(f.name) == kind])
    if not flawed:
        flaw = Flaw("none", parameters, (), frozenset())
    stimuli, end = stimuli_of(family, parameters, rng, lively=True)
    stand = on_a_stand(flaw, stimuli, end, seed)
    return Run(family, parameters, flaw, tuple(stimuli), end, stand)


def _kind(name: str) -> str:
    return name.partition(":")[0]


def on_a_stand(flaw: Flaw, stimuli: Sequence[Stimulus], end: int, seed: int) -> Stand:
    """The board with its fault, through these stimuli on the whole steps."""
    stand = Stand(flaw.built, seed, "anywhere", flaw.faults)
    for at, what, name, value in stimuli:
        stand.wait(at * STEP_US - stand.now_us)
        if what == "supply":
            stand.supply(bool(value))
        elif what == "call":
            stand.call(name, bool(value))
        else:
            signal = SIGNALS[tuple(sorted(value))]  # type: ignore[call-overload]
            stand.sensor(name, signal.value_uv if isinstance(signal, Voltage) else signal)
    stand.wait(end * STEP_US + STEP_US // 2 - stand.now_us)
    return stand


def judged(one: Run) -> Judgement:
    """What the judge says, who knows the profile and not the fault."""
    return judge_trace(one.stand.trace(), one.parameters)


def visible(one: Run) -> int | None:
    """The step at which no good board can have shown this, nor anything close to it; None: one can."""
    book, steps = book_of(one.parameters), []
    for share in ROUNDINGS:
        steps.append(explainable(seen(one, share), book, remembering=True))
        if steps[-1] is None:
            return None
    return max(step for step in steps if step is not None)


def answered(one: Run) -> bool:
    """Whether any output ever moved; if none did, the hook-up is in doubt before the board."""
    return any(ch.startswith(("out.", "alarm.")) for _, ch, _ in one.stand.reported())


def seen(one: Run, share: float) -> Case:
    """What the outputs did, rounded to the grid: up from this share of a step on."""
    names = {(o.name if "." in o.name else f"out.{o.name}"): o.name for o in one.parameters.outputs}
    rests = rests_of(one.parameters)
    glitch_us = one.parameters.timing.glitch_us
    moves: list[tuple[int, str, bool]] = []
    for ch, name in names.items():
        edges = [(t, v in ("on", "closed")) for t, c, v in one.stand.reported() if c == ch]
        level, steps = rests[name], {}
        for t, on in _settled(edges, level, glitch_us):
            whole, rest = divmod(t, STEP_US)
            steps[whole + (rest > share * STEP_US)] = on
        for step, on in sorted(steps.items()):
            if on != level and step <= one.end:
                moves.append((step, name, on))
            level = on
    return Case(one.stimuli, tuple(sorted(moves)), one.end)


def _settled(edges: Sequence[tuple[int, bool]], level: bool, glitch_us: int) -> Iterator[tuple[int, bool]]:
    """Changes at their first edge; edges within the glitch time after it belong to it."""
    n = 0
    while n < len(edges):
        first, end = edges[n][0], n
        while end + 1 < len(edges) and edges[end + 1][0] <= first + glitch_us:
            end += 1
        if edges[end][1] != level:
            level = edges[end][1]
            yield first, level
        n = end + 1


def names_it(one: Run, failed: Sequence[Finding]) -> bool:
    """Whether a failed finding names a requirement that the fault breaks."""
    named = {f.requirement for f in failed} | {also for f in failed for also in f.also}
    blamed = {f.output for f in failed}
    return bool(named & one.flaw.breaks or blamed & one.flaw.where)


# -- the faults -------------------------------------------------------------------------------------

#: What an interval of the board is called, and the requirements that one outside it breaks.  An edge
#: is booked by the policy in force: so a board that is in a mode of its own while the profile has it in
#: normal breaks `follow`, and one that ought to mitigate breaks `blocked` or `forced`.
_TIMINGS = {
    "boot": "power-up trip loss",
    "warm_up": "power-up trip loss",
    "trip": "trip re-leak blocked forced follow",
    "clear": "clear hold kept-on-loss follow",
    "hold": "hold kept-on-loss follow",
    "loss": "loss latch hold kept-on-loss follow",
    "return_": "return hold trip follow",
    "ride_through": "supply power-up follow",
}
_OUTPUT_TIMINGS = {
    "follow_on": "follow power-up hold release return restart",
    "follow_off": "follow power-up hold release return",
    "react_on": "power-up clear hold release return forced follow",
    "react_off": "power-up clear hold release return blocked follow",
    "trip": "trip re-leak blocked forced follow",
    "loss": "loss latch follow",
}
_RULES = {
    "hold_on_band": "hold",
    "hold_when_lost": "hold kept-on-loss follow",
    "latching": "latch return loss hold follow",
    "after_supply_loss": "supply power-up hold",
    "check_before_normal": "power-up trip",
    "hold_ends_only_when": "hold",
    "return_only_when": "return",
    "after_fault": "return hold follow",
    "lost_when": "loss return latch hold follow",
    "reset_supply_off_us": "latch supply power-up",
}
_ANSWERS: dict[str, tuple[object, ...]] = {
    "hold_on_band": ("continue", "pause", "restart"),
    "hold_when_lost": ("run", "pause", "restart"),
    "latching": (True, False),
    "after_supply_loss": ("resume", "restart_hold", "forget"),
    "check_before_normal": (True, False),
    "hold_ends_only_when": (None, "low"),
    "return_only_when": (None, "not-high"),
    "after_fault": ("normal", "hold"),
    "lost_when": ("any", "all"),
}
_MODES = {
    Mode.START_UP: "power-up",
    Mode.NORMAL: "follow power-up hold release return restart",
    Mode.LEAK_ACTIVE: "trip re-leak blocked forced follow",
    Mode.POST_LEAK_HOLD: "clear blocked forced hold release kept-on-loss follow",
    Mode.SENSOR_FAULT: "loss latch return hold follow",
}
#: Faults of the catalogue that a grid of seconds can show; the first four on their own outputs whatever the mode.
_CATALOGUE = {
    "stuck-on": "hold", "stuck-off": "hold", "call-dead": "hold", "crossed": "hold",
    "hold-short": "hold kept-on-loss follow", "hold-long": "hold follow", "no-restart": "re-leak hold blocked forced",
    "no-release": "hold follow", "slow-trip": "trip re-leak blocked forced follow",
    "trip-high": "trip re-leak blocked forced follow level", "loss-ignored": "loss latch hold kept-on-loss forced blocked",
    "loss-ends-mitigation": "kept-on-loss hold blocked forced", "reboots": "supply follow power-up",
}  # fmt: skip
_ANYWHERE = ("stuck-on", "stuck-off", "call-dead", "crossed")
_LEVELS = {
    "never": (Band(1_400_000, 1_410_000), None, "trip re-leak blocked forced follow"),
    "trips-between": (Band(1_000_000, 1_020_000), None, "trip re-leak follow power-up"),
    "clears-between": (None, Band(1_080_000, 1_100_000), "hold clear"),
    "never-clears": (None, Band(600_000, 610_000), "hold clear follow"),
}  # fmt: skip


def flaws_of(parameters: Parameters, rng: random.Random) -> Iterator[Flaw]:
    """Every fault that a board of this profile can have here, of a size drawn anew."""
    yield from _timings(parameters, rng)
    yield from _rules(parameters)
    yield from _policies(parameters)
    yield from _levels(parameters)
    yield from _catalogued(parameters, rng)


def _words(text: str) -> frozenset[str]:
    return frozenset(text.split())


def _beside(span: Interval, rng: random.Random) -> Iterator[tuple[str, Interval]]:
    """Intervals that lie a step or two beyond its max, or before its min."""
    by = rng.randint(1, 2) * STEP_US
    yield "late", Interval(span.max_us + by, span.max_us + by + STEP_US)
    if span.min_us > by:
        yield "early", Interval(max(0, span.min_us - by - STEP_US), span.min_us - by)


def _timings(p: Parameters, rng: random.Random) -> Iterator[Flaw]:
    for field, breaks in _TIMINGS.items():
        span = getattr(p.timing, field)
        if span is None:
            continue
        for side, other in _beside(span, rng):
            timing = dataclasses.replace(p.timing, **{field: other})
            outputs = p.outputs
            if field in ("trip", "loss"):  # every output with it
                by = other.min_us - span.min_us
                outputs = tuple(_moved(o, field, by) for o in outputs)
            built = dataclasses.replace(p, timing=timing, outputs=outputs)
            if timing.warm_up.max_us >= timing.boot.min_us:
                yield Flaw(f"{field.strip('_')}-{side}", built, (), _words(breaks))
    for output in p.outputs:
        for field, breaks in _OUTPUT_TIMINGS.items():
            span = getattr(output, field)
            if span is None or (output.kind != "ac" and field.startswith("follow")):
                continue
            for side, other in _beside(span, rng):
                if side == "late" or field.startswith("follow"):
                    changed = dataclasses.replace(output, **{field: other})
                    yield Flaw(f"{field}-{side}:{output.name}", _with(p, changed), (), _words(breaks))
        if output.restart is not None:
            for side, other in _beside(output.restart.delay, rng):
                restart = dataclasses.replace(output.restart, delay=other)
                built = _with(p, dataclasses.replace(output, restart=restart))
                yield Flaw(f"restart-{side}:{output.name}", built, (), _words("restart"))
            built = _with(p, dataclasses.replace(output, restart=None))
            yield Flaw(f"restart-none:{output.name}", built, (), _words("restart"))


def _moved(output: Output, field: str, by_us: int) -> Output:
    span = getattr(output, field)
    if span is None:
        return output
    return dataclasses.replace(
        output, **{field: Interval(max(0, span.min_us + by_us), max(0, span.max_us + by_us))}
    )


def _with(p: Parameters, changed: Output) -> Parameters:
    outputs = tuple(changed if o.name == changed.name else o for o in p.outputs)
    return dataclasses.replace(p, outputs=outputs)


def _rules(p: Parameters) -> Iterator[Flaw]:
    for field, breaks in _RULES.items():
        said = getattr(p.rules, field)
        if field == "reset_supply_off_us":
            others: list[object] = [] if said is None else [None, STEP_US]
        else:  # what is not stated cannot be broken, but a condition that is not set can be one more
            stated = said is not None or field in ("hold_ends_only_when", "return_only_when")
            others = [a for a in _ANSWERS[field] if a != said] if stated else []
        for other in others:
            rules = dataclasses.replace(p.rules, **{field: other})
            word = "never" if other is None else str(other).replace("_", "-")
            yield Flaw(
                f"{field}={word}".replace("_", "-"), dataclasses.replace(p, rules=rules), (), _words(breaks)
            )


def _policies(p: Parameters) -> Iterator[Flaw]:
    for output in p.outputs:
        kinds = [Policy.OFF]
        kinds += [Policy.FOLLOW] if output.call else []
        kinds += [Policy.ON] if output.feed != "call" else []
        for mode, breaks in _MODES.items():
            for policy in kinds:
                if policy is output.modes[mode]:
                    continue
                modes = {**output.modes, mode: policy}
                changed = dataclasses.replace(output, modes=modes)
                name = f"{mode.value}-{policy.value}:{output.name}"
                yield Flaw(f"policy-{name}", _with(p, changed), (), _words(breaks))


def _levels(p: Parameters) -> Iterator[Flaw]:
    """It never trips, takes the levels between for a leak, or for none, or never clears."""
    for name, (trip, clear, breaks) in _LEVELS.items():
        sensors = tuple(
            dataclasses.replace(s, trip=trip or s.trip, clear=clear or s.clear) for s in p.sensors
        )
        yield Flaw(f"level-{name}", dataclasses.replace(p, sensors=sensors), (), _words(breaks))


def _catalogued(p: Parameters, rng: random.Random) -> Iterator[Flaw]:
    for entry in catalogue(p):
        fault = parse(entry.name, p)
        if fault.name not in _CATALOGUE:
            continue
        if fault.name in ("hold-short", "hold-long", "slow-trip"):
            fault = dataclasses.replace(fault, size=rng.randint(1, 3) * STEP_US)
        elif fault.name == "trip-high":
            fault = dataclasses.replace(fault, size=20_000_000)
        breaks = _words(_CATALOGUE[fault.name])
        where = frozenset(fault.where) if fault.name in _ANYWHERE else frozenset()
        if fault.name == "call-dead":
            where = frozenset(o.name for o in p.outputs if o.call in fault.where)
        yield Flaw(f"{entry.name}", p, (fault,), breaks, where)
