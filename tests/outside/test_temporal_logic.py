"""The judge against a published monitor of signal temporal logic, on the same traces.

Source: the library `rtamt` on PyPI (Nickovic and Yamaguchi, "RTAMT: online
robustness monitors from STL", ATVA 2020).  It decides whether each requirement
that can be said in the logic holds; moving a formula's time bound until its
verdict flips gives the time margin, to one microsecond.
"""

from __future__ import annotations

import math
import random

import pytest

pytest.importorskip(
    "rtamt", reason="the monitor library is installed with the extra `test`, below Python 3.13"
)

from bench.judge.findings import Finding
from bench.simulated.faults import parse
from bench.trace.records import Trace
from firmware_ref.parameters import Parameters
from tests.boards import furnace
from tests.judge.direct import Direct
from tests.outside.temporal import blocked, holds, requirements, signals, worst
from tests.scripted import CLEAR, LEAK, Script

FURNACE = furnace()
REQUIREMENTS = requirements(FURNACE)
BOUND_US = 2_000
U_US = math.ceil(2 * math.sqrt(2 * 1_000**2 / 3))


def script(**late_us: int) -> Script:
    """A run with calls, a leak and a hold; what `late_us` names comes so long after its stimulus."""
    at = {
        "follow Y on": 100_000, "follow W on": 100_000, "follow G on": 100_000,
        "follow Y off": 100_000, "follow W off": 100_000, "follow G off": 100_000,
        "trip Y": 4_000_000, "trip W": 4_000_000, "trip G": 4_050_000, "hold": 365_000_000,
    } | late_us  # fmt: skip
    s = Script(FURNACE).sensor(0.5, CLEAR).supply(1)
    for n, name in enumerate("YWG"):
        s.call(20 + 4 * n, **{name: True}).out(20 + 4 * n + at[f"follow {name} on"] / 1e6, **{name: True})
        s.call(22 + 4 * n, **{name: False}).out(22 + 4 * n + at[f"follow {name} off"] / 1e6, **{name: False})
    s.call(36, Y=True, W=True).out(36.005, Y=True, W=True)
    s.sensor(40, LEAK)
    s.out(40 + at["trip Y"] / 1e6, Y=False).out(40 + at["trip W"] / 1e6, W=False)
    s.out(40 + at["trip G"] / 1e6, G=True)
    s.call(55, Y=False).call(56, Y=True)
    s.sensor(60, CLEAR)
    over_s = 60 + at["hold"] / 1e6
    return s.out(over_s, W=True).out(over_s + 0.001, Y=True).out(over_s + 0.002, G=False)


def judged(run: Script, what: str, decision: str) -> Finding:
    """The judge's finding on the occurrence that the requirement is about."""
    wanted = REQUIREMENTS[what]
    found = [
        f
        for f in run.judge(460, decision).findings
        if (f.requirement, f.output) == (wanted.requirement, wanted.output)
    ]
    if wanted.requirement == "follow":
        start_s = {"on": 20, "off": 22}[what.rpartition(" ")[2]] + 4 * "YWG".index(wanted.output or "")
        found = [f for f in found if start_s <= f.at_s < start_s + 2]
    (finding,) = found
    return finding


def near_limits(what: str) -> list[int]:
    """Moments on, beside and off the limits of a requirement."""
    limits, rng = REQUIREMENTS[what].limits, random.Random(what)
    edges = [limits.max_us] if limits.min_us == 0 else [limits.min_us, limits.max_us]
    found = [round(rng.uniform(limits.min_us + 10_000, limits.max_us - 10_000))]
    for edge in edges:
        outwards = 1 if edge == limits.max_us else -1
        found += [edge + d for d in (-1, 0, 1, -U_US, -U_US + 1, U_US - 1, U_US, -BOUND_US, BOUND_US)]
        found += [edge + outwards * (BOUND_US + 1), edge + outwards * rng.randint(9_000, 90_000)]
    return found


@pytest.mark.parametrize("what", list(REQUIREMENTS))
def test_same_verdict_and_same_margin_as_the_monitor(what: str) -> None:
    wanted, seen = REQUIREMENTS[what], set()
    for late_us in near_limits(what):
        run = script(**{what: late_us})
        found = wanted.parts(signals(run.trace(460), FURNACE))
        simple, guarded = judged(run, what, "simple"), judged(run, what, "guarded")
        assert (simple.verdict == "pass") == wanted.met(found), (late_us, simple)
        assert guarded.verdict == _three_ways(wanted.met(found, U_US), wanted.met(found, -BOUND_US)), (
            late_us,
            guarded,
        )
        margin_us = wanted.margin_us(found)
        assert margin_us is not None
        for finding in (simple, guarded):
            assert finding.margin is not None
            assert abs(round(finding.margin * 1e6) - margin_us) <= 1, (late_us, finding)
        seen.add(guarded.verdict)
    assert seen == {"pass", "inconclusive", "fail"}


def _three_ways(inside_by_u: bool, inside_with_bound: bool) -> str:
    return "pass" if inside_by_u else "inconclusive" if inside_with_bound else "fail"


def test_what_never_comes_is_missing_to_both() -> None:
    run = script()
    run._timed = [e for e in run._timed if e[3:] != ("out.W", "off") or e[0] < 40_000_000]
    wanted = REQUIREMENTS["trip W"]
    assert wanted.margin_us(wanted.parts(signals(run.trace(460), FURNACE))) is None
    assert [(f.requirement, f.output, f.kind) for f in run.judge(460).findings if f.verdict == "fail"] == [
        ("trip", "W", "missing")
    ]


@pytest.mark.parametrize(
    ("pulse", "sound"), [(None, True), (("Y", 50.0, 50.2), False), (("W", 58.0, 58.2), False)]
)
def test_blocked_under_a_leak(pulse: tuple[str, float, float] | None, sound: bool) -> None:
    run = script()
    if pulse is not None:
        name, first_s, last_s = pulse
        run.out(first_s, **{name: True}).out(last_s, **{name: False})
    found = signals(run.trace(460), FURNACE)
    assert FURNACE.timing.trip is not None
    formulas = [blocked(name, FURNACE.timing.trip.max_us) for name in "YW"]
    assert all(holds(f, found) for f in formulas) == sound
    broken = [f for f in run.judge(460).findings if f.requirement == "blocked" and f.verdict == "fail"]
    assert (not broken) == sound


def a_run(parameters: Parameters, seed: int, fault: str | None) -> Trace:
    """A simulated board through calls, a leak with calls in it, and a hold, at odd moments."""
    rng = random.Random(seed)
    faults = () if fault is None else (parse(fault, parameters),)
    run = Direct(parameters, seed, rng.choice(("inside", "anywhere")), faults)

    def wait(least_s: float, most_s: float) -> None:
        run.wait(round(rng.uniform(least_s, most_s) * 1e6))

    wait(0.1, 0.2)
    run.sensor("1", CLEAR.value_uv - 10_000)
    wait(0.1, 0.2)
    run.supply(True)
    wait(13, 14)
    for name in "YWG":
        run.call(name, True)
        wait(1, 2)
        run.call(name, False)
        wait(1, 2)
    run.call("Y", True)
    run.call("W", True)
    wait(1, 2)
    run.sensor("1", LEAK.value_uv + 20_000)
    wait(9, 10)
    for name in "YW":
        run.call(name, False)
        wait(1, 2)
        run.call(name, True)
        wait(1, 2)
    run.sensor("1", CLEAR.value_uv - 10_000)
    wait(380, 390)
    return run.trace()


@pytest.mark.parametrize(
    "fault",
    [
        None,
        None,
        None,
        None,
        "slow-trip",
        "hold-short",
        "hold-long",
        "stuck-on:Y",
        "no-release",
        "crossed:Y,W",
    ],
)
def test_simulated_boards_get_the_same_verdicts(fault: str | None, request: pytest.FixtureRequest) -> None:
    """Requirement by requirement: the worst verdict of the judge is the monitor's."""
    from bench.judge.judge import judge_trace

    seed = sum(request.node.name.encode())
    trace = a_run(FURNACE, seed, fault)
    found = signals(trace, FURNACE)
    judgement = judge_trace(trace, FURNACE, "guarded")
    bound_us, u_us = 3_000, math.ceil(2 * math.sqrt(2 * 1_500**2 / 3))
    unlike = []
    for what, wanted in REQUIREMENTS.items():
        parts = wanted.parts(found)
        monitor = _three_ways(wanted.met(parts, u_us), wanted.met(parts, -bound_us))
        ours = [
            f for f in judgement.findings if (f.requirement, f.output) == (wanted.requirement, wanted.output)
        ]
        if wanted.requirement == "follow":
            way = what.rpartition(" ")[2]
            ours = [f for f in ours if f"{wanted.output} went {way}" in f.text or f"not go {way}" in f.text]
        if worst([f.verdict for f in ours]) != monitor:
            unlike.append((what, monitor, [f.text for f in ours]))
    assert not unlike
