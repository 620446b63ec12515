"""A run that is cut short leaves a trace that never passes, and a bench on which nothing is energised."""

from __future__ import annotations

import json
import os
import signal
import subprocess
from pathlib import Path

import pytest

from tests.end_to_end.command import mitbench, process, run_board, served, sim

pytestmark = [pytest.mark.slow, pytest.mark.skipif(os.name == "nt", reason="signals are POSIX")]
PROFILE = "invented-split-furnace"
#: Slow enough to be caught in the middle, quick enough for a test: a board minute takes 0.3 s.
SPEED = "200"


def begun(url: str, out: Path) -> tuple[subprocess.Popen[str], Path]:
    """A run in its own process, and its trace once a leak was applied."""
    run = process("run", PROFILE, "--fixture", url, "--out", out, "--json")
    while run.poll() is None:
        for trace in out.glob("*.jsonl"):
            if '"ch":"sensor.1"' in trace.read_text("utf-8"):
                return run, trace
        try:
            run.wait(timeout=0.02)
        except subprocess.TimeoutExpired:
            continue
    raise AssertionError(f"the run ended too early: {run.communicate()}")


def test_a_killed_run_leaves_a_trace_that_never_passes(tmp_path: Path) -> None:
    with served(PROFILE, "--speed", SPEED, "--tcp", "0") as url:
        run, trace = begun(url, tmp_path)
        run.kill()
        run.communicate()
    assert '"type":"end"' not in trace.read_text("utf-8")
    answer = mitbench("judge", trace, "--json")
    assert answer.code == 3
    assert answer.plain["verdict"] == "inconclusive"


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_a_stopped_run_ends_safe_and_says_so(number: signal.Signals, tmp_path: Path) -> None:
    with served(PROFILE, "--speed", SPEED, "--tcp", "0") as url:
        run, trace = begun(url, tmp_path)
        run.send_signal(number)
        out, err = run.communicate(timeout=30)
    assert run.returncode == 130, err
    assert json.loads(out)["verdict"] == "stopped"
    assert len(err.strip().splitlines()) == 1
    last = json.loads(trace.read_text("utf-8").splitlines()[-1])
    assert (last["type"], last["reason"]) == ("end", "stopped")
    again = mitbench("judge", trace, "--json")
    assert again.plain["verdict"] == "inconclusive"
    assert again.code == 3


@pytest.mark.parametrize("fault", ["unplugged", "fixture-reboots"])
def test_a_bench_that_goes_away_is_one_sentence_and_exit_4(fault: str, tmp_path: Path) -> None:
    answer = run_board(PROFILE, sim(fault), tmp_path)
    assert answer.code == 4
    assert answer.plain["verdict"] == "bench-fault"
    assert len(answer.err.strip().splitlines()) == 1
    again = mitbench("judge", answer.plain["trace"], "--json")
    assert again.code == 4
