"""A board that tells an open wire by a pull shifts its sensor's signal; the levels asked for are reached all the same."""

from __future__ import annotations

import dataclasses

import pytest

from bench.procedure.acceptance import acceptance
from bench.procedure.plan import plan
from bench.run.clock_watch import ClockWatch
from bench.run.executor import Executor
from bench.run.observer import Silent
from bench.trace.records import Readback, Record, Voltage
from tests.boards import furnace
from tests.judge.stand import Stand, StandBench

#: 6.2 kohm in series with the terminal, 2.2 Mohm from it to 5 V; ours.
SHARE = 6_200 / 2_200_000
PULLED_UP_TO_UV = 5_000_000


class Pulled(StandBench):
    """What stands behind the series resistor is pulled up by the board."""

    def poll(self, wait_us: int) -> list[Record]:
        return [self._pulled(r) for r in super().poll(wait_us)]

    def _pulled(self, record: Record) -> Record:
        if not isinstance(record, Readback) or not isinstance(record.value, Voltage):
            return record
        shift = round((PULLED_UP_TO_UV - record.value.value_uv) * SHARE)
        return dataclasses.replace(
            record, value=dataclasses.replace(record.value, value_uv=record.value.value_uv + shift)
        )


def levels_at_the_board(bench: StandBench) -> list[Voltage]:
    records: list[Record] = []
    parameters = bench.stand.parameters
    executor = Executor(
        bench, parameters, bench.start(), write=records.append, observer=Silent(), stop=lambda: False,
        clock=ClockWatch(None), poll_us=3_600_000_000,
    )  # fmt: skip
    executor.run(plan(acceptance(parameters), parameters))
    return [r.value for r in records if isinstance(r, Readback) and isinstance(r.value, Voltage)]


@pytest.fixture
def asked() -> set[int]:
    """The levels that the procedure asks for, in uV."""
    return {v.value_uv for v in levels_at_the_board(StandBench(Stand(furnace(), 1, "nominal", errors=False)))}


def test_the_levels_asked_for_stand_at_the_board(asked: set[int]):
    reached = levels_at_the_board(Pulled(Stand(furnace(), 1, "nominal", errors=False)))
    off = [min(abs(v.value_uv - level) for level in asked) for v in reached]
    assert off[0] > 5_000  # the first, before the pull was known
    assert all(o <= 5_000 for o in off[1:])
    assert {min(asked, key=lambda level: abs(level - v.value_uv)) for v in reached} == asked


def test_what_is_no_pull_is_not_made_up_for(asked: set[int], monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr("tests.run.test_pull.SHARE", 0.2)
    reached = levels_at_the_board(Pulled(Stand(furnace(), 1, "nominal", errors=False)))
    assert not any(v.value_uv in asked for v in reached)
