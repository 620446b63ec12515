"""Seeded simulated boards through the level test: what was found against where they truly switch."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from statistics import fmean

from bench.judge.findings import Judgement
from bench.judge.judge import judge_trace
from bench.procedure import load
from bench.simulated.board import Board
from bench.trace.records import Trace
from firmware_ref.parameters import Parameters
from tests.procedure.running import carried_out


@dataclass(frozen=True)
class Found:
    """One level of one board in %LFL."""

    seed: int
    what: str
    true: float
    value: float
    uncertainty: float

    @property
    def error(self) -> float:
        return self.value - self.true

    @property
    def covered(self) -> bool:
        return abs(self.error) <= self.uncertainty


def level_run(
    parameters: Parameters, seed: int, draw: str = "inside", fault: str | None = None, name: str = "levels"
) -> Judgement:
    """On a stand whose read-backs are off by up to their bound, each anew; `name`: a procedure with stairs."""
    procedure = load(name, parameters)
    trace = carried_out(parameters, procedure, seed, fault, draw)
    header = replace(trace.header, procedure=procedure.as_json())
    return judge_trace(Trace(header, trace.records), parameters)


def against_truth(
    judgement: Judgement, parameters: Parameters, seed: int, draw: str = "inside"
) -> Iterator[Found]:
    sensor = parameters.sensors[0]
    truly = dict(
        zip(("trip", "clear"), Board(parameters, seed=seed, draw=draw).switching_uv(sensor.name), strict=True)
    )
    for level in judgement.levels:
        if level.what in truly:
            true = sensor.level_at(truly[level.what])
            yield Found(seed, level.what, true, level.value["%LFL"], level.uncertainty["%LFL"])


@dataclass(frozen=True)
class Share:
    """How well one level was found over many boards."""

    boards: int
    covered: float
    largest_u: float
    mean_u: float
    bias: float


def share(found: Iterable[Found], what: str) -> Share:
    some = [f for f in found if f.what == what]
    return Share(
        len(some),
        fmean(f.covered for f in some),
        max(f.uncertainty for f in some),
        fmean(f.uncertainty for f in some),
        fmean(f.error for f in some),
    )
