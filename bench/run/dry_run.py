"""A procedure carried out on paper: how long it takes, what it will and will not prove.

The same executor as a real run, over a bench and a board without tolerances;
the synthetic trace is judged by whoever calls (`judge` is given, since this
room decides nothing).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, Any

from bench.errors import BenchFault, ProcedureError
from bench.judge.bounds import expected_bound_us
from bench.judge.findings import Judgement
from bench.procedure.plan import plan
from bench.procedure.steps import Procedure
from bench.procedure.words import say_us
from bench.run.clock_watch import ClockWatch
from bench.run.executor import Executor
from bench.run.nominal import NominalBench
from bench.run.observer import Silent
from bench.trace.records import End, Header, Record, Trace
from firmware_ref.parameters import Interval, Parameters

if TYPE_CHECKING:
    from bench.profile import Profile

Judge = Callable[[Trace, Parameters], Judgement]
#: Nothing listens for life here, so one wait may be as long as it takes.
_POLL_US = 10**12


def dry_run(procedure: Procedure, profile: Profile, judge: Judge | None = None) -> dict[str, Any]:
    """What the procedure will do to this board, as plain data for the trace header and for people.

    Keys: `board_seconds`, `steps` (`at_s`, `part`, `text`), `windows` (`at_s`,
    `requirement`, `output`, `limits`, `unit`), `proves`, `unproven`,
    `too_narrow`.  Without `judge` the last but one three stay empty.  Raises
    ProcedureError.
    """
    trace, steps = synthetic(procedure, profile)
    end = trace.records[-1]
    assert isinstance(end, End)
    told: dict[str, Any] = {"board_seconds": end.tick_us / 1e6, "steps": steps}
    told.update(windows=[], proves=[], unproven=[])
    if judge is not None:
        told.update(_judged(judge(trace, profile.parameters)))
    told["too_narrow"] = list(too_narrow(profile.parameters))
    return told


def synthetic(procedure: Procedure, profile: Profile) -> tuple[Trace, list[dict[str, Any]]]:
    """The trace of a nominal board under the procedure, and when each step began."""
    parameters = profile.parameters
    bench = NominalBench(parameters)
    snapshot = bench.start()
    records: list[Record] = [snapshot]
    steps: list[dict[str, Any]] = []
    part = ""

    def on_step(index: int, text: str) -> None:
        steps.append({"at_s": bench.now_us() / 1e6, "text": text})

    planned = plan(procedure, parameters)
    watcher = _Steps(on_step)
    executor = Executor(
        bench, parameters, snapshot, write=records.append, observer=watcher, stop=lambda: False,
        clock=ClockWatch(None), poll_us=_POLL_US,
    )  # fmt: skip
    try:
        executor.run(planned)
    except BenchFault as e:
        place = steps[-1]["text"] if steps else procedure.name
        raise ProcedureError(
            f"{procedure.source}: {place}: cannot come true on a board in the middle of its limits ({e})"
        ) from None
    for step, told in zip(planned, steps, strict=True):
        part = step.part or part
        told["part"], told["text"] = part, step.text
    records.append(End(bench.now_us(), "complete"))
    header = Header(
        profile=profile.data,
        profile_sha256=profile.sha256,
        wiring=profile.wiring,
        simulated=True,
        clock="exact",
        procedure={"steps": procedure.as_json()["steps"]},
    )
    return Trace(header, tuple(records)), steps


class _Steps(Silent):
    def __init__(self, begun: Callable[[int, str], None]) -> None:
        self._begun = begun

    def step(self, index: int, total: int, text: str) -> None:
        self._begun(index, text)


def too_narrow(parameters: Parameters) -> Iterator[str]:
    """Intervals in which a good board may not be provable here: two bounds at each end that is a limit."""
    for name, span in _intervals(parameters):
        if span is None or (name == "clear" and span.max_us == 0):
            continue  # such a hold counts from the leak's end
        bound_us = expected_bound_us(span.max_us)
        if span.width_us < (4 if span.min_us else 2) * bound_us:
            yield f"{name}: {say_us(span.width_us)} wide, and this bench knows it to ±{bound_us / 1000:.0f} ms"


def _intervals(parameters: Parameters) -> Iterator[tuple[str, Interval | None]]:
    timing = parameters.timing
    for name in ("boot", "warm_up", "trip", "clear", "hold", "loss"):
        yield name, getattr(timing, name)
    yield "return", timing.return_
    for output in parameters.outputs:
        for name in ("follow_on", "follow_off", "trip", "loss"):
            yield f"{output.name} {name.replace('_', ' ')}", getattr(output, name)
        if output.restart is not None:
            yield f"{output.name} restart", output.restart.delay


def _judged(judgement: Judgement) -> dict[str, Any]:
    passed = [f for f in judgement.findings if f.verdict == "pass"]
    seen = dict.fromkeys(_named(f.requirement, f.output) for f in passed)
    # A figure without any limit is no proof.
    proves = list(dict.fromkeys(_named(f.requirement, f.output) for f in passed if f.limits != (None, None)))
    unproven = [
        *(name for name in seen if name not in proves),
        *judgement.not_exercised,
        *judgement.not_judged,
        *judgement.cannot_show,
    ]
    windows = [
        {"at_s": f.at_s, "requirement": f.requirement, "output": f.output, "limits": f.limits, "unit": f.unit}
        for f in passed
        if f.limits not in (None, (None, None))
    ]
    return {"windows": windows, "proves": proves, "unproven": list(dict.fromkeys(unproven))}


def _named(requirement: str, output: str | None) -> str:
    return requirement if output is None else f"{requirement}:{output}"
