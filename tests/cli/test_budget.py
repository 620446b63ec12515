"""`mitbench judge` of a stored trace: the tables of `--budget`, and what `--explain` refuses."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from bench.profile import load
from bench.trace.file import TraceWriter
from tests.end_to_end.command import mitbench
from tests.judge import full_run


@pytest.mark.parametrize("moment", ["nan", "inf", "-inf"])
def test_a_moment_that_is_none_is_told(tmp_path: Path, moment: str) -> None:
    path = tmp_path / "run.jsonl"
    path.touch()
    answer = mitbench("judge", path, "--explain", moment)
    assert answer.code == 2
    assert answer.out == ""
    assert answer.err == (
        f"mitbench: --explain {moment}: is no moment; write seconds from the start, such as 412.5\n"
    )


def test_the_tables_of_a_stored_trace(tmp_path: Path) -> None:
    profile = load("invented-split-furnace")
    trace = full_run.good_run().trace(full_run.END_S)
    path = tmp_path / "run.jsonl"
    writer = TraceWriter(path)
    writer.write(replace(trace.header, profile=profile.data, profile_sha256=profile.sha256))
    for record in trace.records:
        writer.write(record)
    writer.close()
    plain, tables = mitbench("judge", path), mitbench("judge", path, "--budget")
    assert tables.code == plain.code
    assert tables.out.startswith("Clock: exact")
    assert "hold, board" in tables.out
    assert tables.out.count("bound 2.000 ms") == tables.out.count("u_c ") > 10
