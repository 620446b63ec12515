"""However a run ends, nothing is left energised: seen at the simulated fixture itself."""

from __future__ import annotations

import json
import signal
from collections.abc import Callable
from pathlib import Path

import pytest

from bench.cli import job, simulating
from bench.simulated.fixture import SimulatedFixture
from bench.trace.file import TraceWriter
from bench.trace.records import Record
from tests.end_to_end.command import Answer, run_board, sim

PROFILE = "invented-split-furnace"
#: Somewhere in the middle: the board has supply, a leak is applied, calls are on.
MIDDLE = 150


@pytest.fixture
def made(monkeypatch: pytest.MonkeyPatch) -> list[SimulatedFixture]:
    """The simulated fixtures that are made from now on."""
    fixtures: list[SimulatedFixture] = []
    make = simulating.simulated_fixture

    def keep(*args: object, **kwargs: object) -> SimulatedFixture:
        fixtures.append(make(*args, **kwargs))  # type: ignore[arg-type]
        return fixtures[-1]

    monkeypatch.setattr(simulating, "simulated_fixture", keep)
    return fixtures


def in_the_middle(
    monkeypatch: pytest.MonkeyPatch, made: list[SimulatedFixture], act: Callable[[], None]
) -> None:
    """Has `act` happen while the trace is being written, with the board under supply."""

    class Interrupted(TraceWriter):
        count = 0

        def write(self, record: Record) -> None:
            super().write(record)
            Interrupted.count += 1
            if Interrupted.count == MIDDLE:
                assert made[-1].hardware.energised
                act()

    monkeypatch.setattr("bench.cli.naming.TraceWriter", Interrupted)


def end_of(folder: Path) -> dict[str, object]:
    (trace,) = folder.glob("*.jsonl")
    return json.loads(trace.read_text("utf-8").splitlines()[-1])


def nothing_energised(made: list[SimulatedFixture]) -> bool:
    (fixture,) = made
    return not fixture.hardware.energised


def test_after_a_whole_run(made: list[SimulatedFixture], tmp_path: Path) -> None:
    assert run_board(PROFILE, sim(), tmp_path).code == 0
    assert nothing_energised(made)
    assert end_of(tmp_path)["reason"] == "complete"


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_after_a_signal(
    number: signal.Signals, made: list[SimulatedFixture], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    in_the_middle(monkeypatch, made, lambda: signal.raise_signal(number))
    answer = run_board(PROFILE, sim(), tmp_path)
    assert nothing_energised(made)
    assert answer.code == 130
    assert answer.plain["verdict"] == "stopped"
    assert one_sentence(answer)
    assert end_of(tmp_path)["reason"] == "stopped"


def test_after_a_second_signal_at_once(
    made: list[SimulatedFixture], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    in_the_middle(
        monkeypatch, made, lambda: (signal.raise_signal(signal.SIGINT), signal.raise_signal(signal.SIGINT))
    )  # type: ignore[arg-type, return-value]
    answer = run_board(PROFILE, sim(), tmp_path)
    assert nothing_energised(made)
    assert answer.code == 130
    assert one_sentence(answer)


def test_after_a_fault_of_our_own(
    made: list[SimulatedFixture], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    def fall_over() -> None:
        raise ZeroDivisionError("a mistake somewhere")

    in_the_middle(monkeypatch, made, fall_over)
    monkeypatch.chdir(tmp_path)
    answer = run_board(PROFILE, sim(), tmp_path / "out")
    assert nothing_energised(made)
    assert answer.code == 70
    assert answer.out == ""
    assert one_sentence(answer)
    assert end_of(tmp_path / "out")["reason"] == "bench-fault"


def test_after_a_full_disk(
    made: list[SimulatedFixture], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    def full() -> None:
        raise OSError(28, "No space left on device")

    in_the_middle(monkeypatch, made, full)
    answer = run_board(PROFILE, sim(), tmp_path)
    assert nothing_energised(made)
    assert answer.code == 4
    assert one_sentence(answer)


@pytest.mark.parametrize("fault", ["unplugged", "fixture-reboots"])
def test_after_the_fixture_went_away(fault: str, made: list[SimulatedFixture], tmp_path: Path) -> None:
    answer = run_board(PROFILE, sim(fault), tmp_path)
    assert nothing_energised(made)
    assert answer.code == 4
    assert one_sentence(answer)
    assert end_of(tmp_path)["reason"] == "bench-fault"


def test_when_the_results_cannot_be_written(
    made: list[SimulatedFixture], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    def full(*args: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(job, "write_page", full)
    answer = run_board(PROFILE, sim(), tmp_path)
    assert answer.code == 0
    assert "page could not be written" in answer.err


def one_sentence(answer: Answer) -> bool:
    return len(answer.err.strip().splitlines()) == 1
