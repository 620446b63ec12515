"""A restart delay counts from the release, which the first output that follows again dates."""

from __future__ import annotations

from dataclasses import replace

import pytest

from bench.judge.findings import Finding
from bench.judge.judge import judge_trace
from bench.trace.records import Edge, Trace
from firmware_ref.parameters import Interval, Parameters, Restart
from tests.boards import furnace
from tests.judge.stand import Stand

S = 1_000_000
CLEAR_UV, LEAK_UV = 800_000, 1_320_000


def board(least_us: int, most_us: int) -> Parameters:
    parameters = furnace()
    y, *others = parameters.outputs
    y = replace(y, restart=Restart(frozenset({"release"}), Interval(least_us, most_us)))
    return replace(parameters, outputs=(y, *others))


def through_a_leak(seed: int) -> Trace:
    """Y is held off for 30 to 40 s after the release; Y and W are called all the time."""
    stand = Stand(board(30 * S, 40 * S), seed, "inside", errors=False)
    stand.sensor("1", CLEAR_UV)
    stand.wait(S)
    stand.supply(True)
    stand.wait(15 * S)
    stand.call("Y", True)
    stand.call("W", True)
    for uv, wait_s in ((CLEAR_UV, 2), (LEAK_UV, 10), (CLEAR_UV, 500)):
        stand.sensor("1", uv)
        stand.wait(wait_s * S)
    return stand.trace()


def last_us(trace: Trace, ch: str) -> int:
    """First edge of an output's last change, bounces taken with it."""
    edges = [e for e in trace.records if isinstance(e, Edge) and e.ch == ch]
    last = [e.earliest_us for e in edges if edges[-1].earliest_us - e.earliest_us < 20_000]
    return last[0]


def failed(trace: Trace, parameters: Parameters) -> list[Finding]:
    return [f for f in judge_trace(trace, parameters).findings if f.verdict == "fail"]


@pytest.mark.parametrize("seed", range(5))
def test_a_delay_is_measured_from_the_release_that_was_seen(seed: int) -> None:
    trace = through_a_leak(seed)
    # At the release W goes on, called, and G goes off, which nobody calls.
    apart_us = last_us(trace, "out.Y") - min(last_us(trace, "out.W"), last_us(trace, "out.G"))
    react_us = furnace().output("W").react_on.max_us
    # The clear and the hold leave the release several seconds; what was seen leaves it the reaction.
    assert failed(trace, board(apart_us - 100_000, apart_us + 20 * S)) == []
    (finding,) = failed(trace, board(apart_us + react_us + 100_000, apart_us + 20 * S))
    assert (finding.requirement, finding.output, finding.kind) == ("restart", "Y", "too-early")
