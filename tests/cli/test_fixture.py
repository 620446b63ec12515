"""`fixture list`, `check`, `watch` and `simulate`."""

from __future__ import annotations

import signal

import pytest

from tests.end_to_end.command import mitbench


def test_list_says_what_answers_where(plugged_in) -> None:
    plugged_in("no/such/port", "sim://")
    lines = mitbench("fixture", "list").out.splitlines()
    assert lines[0] == "no/such/port  no fixture answers"
    assert lines[1].startswith("sim://  SIMULATED FIXTURE")


def test_list_without_any_port_names_the_simulated_one(plugged_in) -> None:
    plugged_in()
    answer = mitbench("fixture", "list")
    assert answer.code == 0
    assert "sim://" in answer.out


def test_watch_ends_with_ctrl_c(monkeypatch: pytest.MonkeyPatch) -> None:
    from bench.fixture.driver import Fixture

    polls = iter(range(100))
    poll = Fixture.poll

    def third_time_stops(self: Fixture, wait_us: int) -> object:
        if next(polls) == 3:
            signal.raise_signal(signal.SIGINT)
        return poll(self, wait_us)

    monkeypatch.setattr(Fixture, "poll", third_time_stops)
    answer = mitbench("fixture", "watch", "sim://")
    assert answer.code == 0
    assert "sense.main" in answer.out


@pytest.mark.parametrize(
    "args",
    [
        [],
        ["--pty", "--tcp", "0"],
        ["--tcp", "0", "--speed", "0"],
        ["--tcp", "0", "--speed", "fast"],
        ["--tcp", "0", "--fault", "nonsense"],
        ["--tcp", "70000"],
        ["--tcp", "0", "--draw", "wild"],
    ],
)
def test_simulate_refuses_what_does_not_fit(args: list[str]) -> None:
    answer = mitbench("fixture", "simulate", "invented-split-furnace", *args)
    assert (answer.code, answer.out) == (2, "")
    assert len(answer.err.strip().splitlines()) == 1
