"""Traces on disk: every record comes back as it was, and damage is named."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.errors import TraceError
from bench.trace.file import TraceWriter, from_json, read_trace, to_json
from bench.trace.records import Applied, Clock, Edge, End, Header, Note, Readback, Snapshot, Voltage
from tests.judge.full_run import END_S, good_run

TICKS = st.integers(0, 2**40)
PLAIN = st.sampled_from(["on", "off", "open", "closed", "short", "normal", "leak"])
VALUES = st.one_of(PLAIN, st.builds(Voltage, st.integers(-(10**7), 10**7), st.integers(0, 10**6)))
NAMES = st.sampled_from(["call.Y", "out.W", "sensor.1", "main", "sense.board"])


def spans(build):
    return st.tuples(TICKS, st.integers(0, 10**6)).flatmap(lambda t: build(t[0], t[0] + t[1]))


RECORDS = st.one_of(
    st.builds(
        Header, profile=st.just({"name": "x"}), profile_sha256=st.text(), wiring=st.just({"call.Y": 3})
    ),
    st.builds(Snapshot, TICKS, st.dictionaries(NAMES, VALUES)),
    spans(lambda a, b: st.builds(Applied, TICKS, TICKS, NAMES, VALUES, st.just(a), st.just(b))),
    spans(
        lambda a, b: st.builds(
            Readback, TICKS, TICKS, NAMES, VALUES, st.just(a), st.just(b), st.just("terminal")
        )
    ),
    spans(lambda a, b: st.builds(Edge, TICKS, NAMES, PLAIN, st.just(a), st.just(b))),
    st.builds(Clock, TICKS, TICKS, TICKS),
    st.builds(Note, TICKS, st.text()),
    st.builds(End, TICKS, st.sampled_from(["complete", "stopped", "bench-fault"]), st.text()),
)


@given(RECORDS)
def test_a_record_comes_back_as_it_was(record):
    assert from_json(json.loads(json.dumps(to_json(record)))) == record


@pytest.fixture
def written(tmp_path):
    trace = good_run().trace(END_S)
    writer = TraceWriter(tmp_path / "run.jsonl")
    for record in (trace.header, *trace.records):
        writer.write(record)
    writer.close()
    return trace, writer.path


def test_a_trace_comes_back_as_it_was(written):
    trace, path = written
    assert read_trace(path) == trace


def test_a_trace_is_never_overwritten(written):
    with pytest.raises(FileExistsError):
        TraceWriter(written[1])


@pytest.mark.parametrize("lost", [1, 10, 30])
def test_a_torn_last_line_is_a_killed_run(written, lost):
    trace, path = written
    path.write_bytes(path.read_bytes()[:-lost])
    read = read_trace(path)
    assert read.records in (trace.records, trace.records[:-1])
    if lost > 1:
        assert read.end is None


def broken(path, number, change):
    lines = path.read_text(encoding="utf-8").splitlines()
    lines[number - 1] = change(lines[number - 1])
    path.write_text("\n".join(line for line in lines if line is not None) + "\n", encoding="utf-8")


def as_readback_of_terminals(line):
    """A misspelt `what`, which would have the judge take its stimulus from elsewhere."""
    plain = json.loads(line)
    keep = {k: plain[k] for k in ("seq", "earliest_us", "latest_us")}
    spoiled = {"type": "readback", "of": 0, "ch": "call.Y", "value": "on", "what": "terminals", **keep}
    return json.dumps(spoiled)


@pytest.mark.parametrize(
    ("number", "change", "says"),
    [
        (5, lambda line: line[:-4], ":5: is no JSON"),
        (5, lambda line: "[1]", ":5: the line is no JSON object"),
        (5, lambda line: "[" * 100_000, ":5: is nested far too deep"),
        (1, lambda line: json.dumps({**json.loads(line), "clock": "fited"}), ":1: clock: 'fited'"),
        (7, as_readback_of_terminals, ":7: what: 'terminals' is not known"),
        (1, lambda line: line.replace("mitbench-trace-1", "other-1"), ":1: format"),
        (7, lambda line: line.replace('"seq":', '"sequence":'), ":7: sequence: a "),
        (7, lambda line: json.dumps({**json.loads(line), "seq": "4"}), ":7: seq: must be a whole number"),
        (7, lambda line: json.dumps({**json.loads(line), "type": "edgy"}), ":7: type: 'edgy'"),
        (7, lambda line: json.dumps({**json.loads(line), "latest_us": 0}), ":7: latest_us: lies before"),
        (7, lambda line: None, "a record is missing, doubled or out of order"),
        (2, lambda line: None, "has no snapshot"),
        (1, lambda line: None, "the first line must be the header"),
    ],
)
def test_damage_is_named(written, number, change, says):
    broken(written[1], number, change)
    with pytest.raises(TraceError) as caught:
        read_trace(written[1])
    assert says in str(caught.value)
    assert str(written[1]) in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_file_that_is_not_there(tmp_path):
    with pytest.raises(TraceError, match="cannot be read"):
        read_trace(tmp_path / "none.jsonl")


def test_bytes_that_are_no_text(tmp_path):
    path = tmp_path / "x.jsonl"
    path.write_bytes(b"\xff\xfe\n")
    with pytest.raises(TraceError, match=":1: is no UTF-8"):
        read_trace(path)


def test_a_readback_of_nothing_is_refused(written):
    trace, path = written
    spoiled = [replace(r, of=r.of + 500) if isinstance(r, Readback) else r for r in trace.records]
    path.write_text(
        "".join(json.dumps(to_json(r)) + "\n" for r in (trace.header, *spoiled)), encoding="utf-8"
    )  # fmt: skip
    with pytest.raises(TraceError, match="belongs to no applied record"):
        read_trace(path)
