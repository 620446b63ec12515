"""A stored trace that cannot be what happened is refused in one sentence, never judged."""

from __future__ import annotations

from dataclasses import replace

import pytest

from bench.errors import TraceError
from bench.judge.judge import judge_trace
from bench.trace.file import trace_of
from bench.trace.records import Edge, End, Readback, Snapshot, Trace, Voltage
from tests.boards import air_handler, furnace
from tests.judge.full_run import END_S, good_run


def spoiled(pick, change):
    """The good run with the first record that `pick` takes changed."""
    trace = good_run().trace(END_S)
    place = next(i for i, r in enumerate(trace.records) if pick(r))
    records = [*trace.records]
    records[place] = change(records[place])
    return [trace.header, *records]


def is_output(record):
    return isinstance(record, Edge) and record.ch == "out.W"


def is_sensor(record):
    return isinstance(record, Readback) and record.ch == "sensor.1"


def is_call(record):
    return isinstance(record, Readback) and record.ch == "call.Y"


@pytest.mark.parametrize(
    ("pick", "change", "says"),
    [
        (is_output, lambda r: replace(r, ch="foo"), "foo is no channel"),
        (is_output, lambda r: replace(r, ch="call.Y"), "call.Y is moved by the fixture and has no edge"),
        (is_output, lambda r: replace(r, value="open"), "out.W cannot be open"),
        (is_sensor, lambda r: replace(r, value="on"), "sensor.1 cannot be on"),
        (is_call, lambda r: replace(r, value=Voltage(1, 1)), "call.Y has a voltage"),
        (is_output, lambda r: replace(r, earliest_us=-5), "the tick -5"),
        (is_output, lambda r: replace(r, latest_us=10**30), "no run comes to that"),
        (is_output, lambda r: replace(r, earliest_us=1, latest_us=2), "time goes back"),
        (lambda r: isinstance(r, End), lambda r: replace(r, tick_us=10**18), "no run comes to that"),
        (
            lambda r: isinstance(r, Snapshot),
            lambda r: replace(r, values={**r.values, "zz": "on"}),
            "zz is no channel",
        ),
    ],
)
def test_what_cannot_have_happened_is_refused(pick, change, says):
    with pytest.raises(TraceError, match=says):
        trace_of(spoiled(pick, change), "x.jsonl")


def test_a_channel_outside_the_wiring_is_refused():
    header, *records = spoiled(is_output, lambda r: replace(r, ch="out.Q"))
    with pytest.raises(TraceError, match=r"out\.Q is not in the wiring"):
        trace_of([replace(header, wiring={"out.W": 18, "main": 1, "sense.board": 9, "sensor.1": 30, "call.Y": 3,
                                          "call.W": 4, "call.G": 5, "out.Y": 17, "out.G": 19}), *records], "x")  # fmt: skip


@pytest.mark.parametrize("channel", ["main", "sense.board", "sensor.1", "call.Y", "out.G"])
def test_a_snapshot_that_leaves_a_channel_out_is_refused(channel):
    trace = good_run().trace(END_S)
    values = {ch: v for ch, v in trace.snapshot.values.items() if ch != channel}
    records = (replace(trace.snapshot, values=values), *trace.records[1:])
    with pytest.raises(TraceError, match=f"says nothing of {channel}"):
        judge_trace(Trace(trace.header, records), furnace())


def test_a_profile_of_another_kind_of_sensor_is_refused():
    with pytest.raises(TraceError, match=r"gave a voltage .* has a supervised sensor"):
        judge_trace(good_run().trace(END_S), air_handler())
