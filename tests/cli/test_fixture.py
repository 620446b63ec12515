"""`fixture list`, `check`, `watch` and `simulate`."""

from __future__ import annotations

import signal

import pytest

from bench.report.cautions import SIMULATED
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


def test_check_of_a_sound_fixture_is_0() -> None:
    answer = mitbench("fixture", "check", "sim://")
    assert answer.code == 0
    assert SIMULATED in answer.out
    assert "self-test passed" in answer.out
    assert "relays move and read back" in answer.out


@pytest.mark.parametrize(
    "url",
    [
        "sim://?fault=relay-stuck:call.Y",
        "sim://?fault=relay-dead:call.G",
        "sim://?fault=input-stuck:sense.board",
        "no/such",
    ],
)
def test_check_of_an_unsound_one_is_4_and_one_sentence(url: str) -> None:
    answer = mitbench("fixture", "check", url)
    assert answer.code == 4
    assert len(answer.err.strip().splitlines()) == 1


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
