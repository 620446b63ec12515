"""Faulty boards under random sequences, and whether what they showed was more than any good board could show.

Profiles, stimuli and the oracle's grid are those of `oracle_cases`; the board
is the simulated one, in true microseconds, on a stand with every error a bench
may have.  It has one fault of `flawed`; the judge is given the profile.

A fault is *visible* if the oracle explains none of three roundings of the
trace to its grid.  A good board's trace, rounded up from any fixed share of a
step on, is one that a good board may show: so what a good board could have
done within a sixth of a step is not counted as visible, and that is more than
two bounds.  Like the judge, the oracle knows that a board may have come with
something to remember.
"""

from __future__ import annotations

import random
from collections.abc import Iterator, Sequence
from typing import NamedTuple

from bench.judge.feed import output_channel
from bench.judge.findings import Finding, Judgement
from bench.judge.judge import judge_trace
from bench.trace.records import Voltage
from firmware_ref.parameters import Parameters
from tests.judge.alone import explains
from tests.judge.flawed import Flaw, flaws_of
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
    kind = rng.choice(sorted({f.kind for f in flaws}))
    flaw = rng.choice([f for f in flaws if f.kind == kind])
    if not flawed:
        flaw = Flaw("none", parameters, (), frozenset())
    stimuli, end = stimuli_of(family, parameters, rng, lively=True)
    stand = on_a_stand(flaw, stimuli, end, seed)
    return Run(family, parameters, flaw, tuple(stimuli), end, stand)


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
    book, latest = book_of(one.parameters), 0
    for share in ROUNDINGS:
        step = explainable(seen(one, share), book, remembering=True)
        if step is None:
            return None
        latest = max(latest, step)
    return latest


def answered(one: Run) -> bool:
    """Whether any output ever moved; if none did, the hook-up is in doubt before the board."""
    return any(ch.startswith(("out.", "alarm.")) for _, ch, _ in one.stand.reported())


def seen(one: Run, share: float) -> Case:
    """What the outputs did, rounded to the grid: up from this share of a step on."""
    names = {output_channel(o.name): o.name for o in one.parameters.outputs}
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


def either(one: Run, failed: Sequence[Finding]) -> bool:
    """Whether the sequence does not tell: a board that breaks only what a failed finding names shows the same."""
    cases = [seen(one, share) for share in ROUNDINGS]
    return any(explains(case, one.parameters, f) for f in failed for case in cases)
