"""A built-in procedure carried out on a simulated board in this process, and judged."""

from __future__ import annotations

from bench.judge.findings import Judgement
from bench.judge.judge import judge_trace
from bench.procedure.plan import plan
from bench.procedure.steps import Procedure
from bench.run.clock_watch import ClockWatch
from bench.run.executor import Executor
from bench.run.observer import Silent
from bench.simulated.faults import parse
from bench.trace.records import Trace
from firmware_ref.parameters import Parameters
from tests.judge.stand import Stand, StandBench


def carried_out(
    parameters: Parameters, procedure: Procedure, seed: int, fault: str | None = None, draw: str = "inside"
) -> Trace:
    stand = Stand(parameters, seed, draw, () if fault is None else (parse(fault, parameters),))
    stand.outage = True
    bench = StandBench(stand)
    executor = Executor(
        bench, parameters, bench.start(), write=lambda record: None, observer=Silent(), stop=lambda: False,
        clock=ClockWatch(None), poll_us=3_600_000_000,
    )  # fmt: skip
    executor.run(plan(procedure, parameters))
    return stand.trace()


def judged(parameters: Parameters, procedure: Procedure, seed: int, fault: str | None = None) -> Judgement:
    return judge_trace(carried_out(parameters, procedure, seed, fault), parameters)
