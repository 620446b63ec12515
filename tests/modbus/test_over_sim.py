"""A board with a Modbus sensor on the simulated bench, from the profile to the verdict, real frames in between."""

from __future__ import annotations

from typing import Any

import pytest

from bench.clock import VirtualClock
from bench.fixture.channels import load_channels
from bench.fixture.driver import Fixture
from bench.judge.judge import Judgement, judge_trace
from bench.link import peers
from bench.link.serialport import open_port
from bench.procedure import load as load_procedure
from bench.profile import Profile
from bench.run.observer import Silent
from bench.run.session import run_session
from bench.simulated.board import Board
from bench.simulated.faults import catalogue
from bench.simulated.fixture import SimulatedFixture
from bench.simulated.peer import simulated_fixture
from bench.simulated.poller import Wrongs
from bench.trace.file import from_json, to_json, trace_of
from bench.trace.records import Count, Header, Readback, Record
from tests.modbus.board import with_sensor

OURS = (
    "takes-bad-crc", "ignores-exception", "ignores-sensor-fault", "bytes-swapped", "scale-wrong", "no-silence",
)  # fmt: skip


def run(profile: Profile, peer: SimulatedFixture, procedure: str = "acceptance") -> list[Record]:
    parameters = profile.parameters
    peers.register(lambda url: peer)
    records: list[Record] = []
    bench = Fixture(
        open_port("sim://"), profile.wiring, load_channels(), VirtualClock(), buses=parameters.buses
    )
    try:
        run_session(
            bench, load_procedure(procedure, parameters), profile,
            sink=records.append, observer=Silent(), stop=lambda: False,
        )  # fmt: skip
    finally:
        bench.close()
    return records


def judged(profile: Profile, records: list[Record]) -> Judgement:
    """As read back from a file."""
    header = Header(profile.data, profile.sha256, profile.wiring, simulated=True)
    plain = [from_json(to_json(r)) for r in (header, *records)]
    return judge_trace(trace_of(plain, "test"), profile.parameters)


@pytest.mark.parametrize("seed", range(2))
def test_a_good_board_passes(seed: int) -> None:
    profile = with_sensor()
    records = run(profile, simulated_fixture(profile.parameters, profile.wiring, seed=seed))
    judgement = judged(profile, records)
    assert judgement.verdict == "pass", judgement.reason
    readbacks = [r for r in records if isinstance(r, Readback) and r.ch == "sensor.1"]
    polls = [r for r in readbacks if r.what == "poll"]
    states = {str(r.value) for r in polls if not isinstance(r.value, Count)}
    assert states == {"silent", "bad-crc", "exception", "fault", "end-of-life"}
    assert {r.value for r in polls if isinstance(r.value, Count)} >= {Count(78), Count(202)}
    # Every state that stood for a second was met by a question.
    terminals = [r for r in readbacks if r.what == "terminal" and r.value != "open"]
    assert {r.of for r in terminals} == {r.of for r in polls}
    # What the maker's figures limit is the way from the registers to the terminals: no bound of the bus is in it.
    trip = next(f for f in judgement.findings if f.requirement == "trip")
    assert trip.bound is not None
    assert trip.bound < 0.008


@pytest.mark.parametrize(
    "changes",
    [
        {"sensors.1.bus": {"address": 247, "baud": 38400, "parity": "none", "function": 3}},
        {"sensors.1.bus": {"address": 1, "baud": 2400, "parity": "odd", "function": 4},
         "sensors.1.registers.concentration.number": 65535, "sensors.1.registers.status.number": 65500},
        {"sensors.1.registers.status": {"number": 3, "fault": 15, "end_of_life": 0}, "calls": ["Y", "W", "G"]},
        {"sensors.1.registers": {"concentration": {"number": 0, "scale": "0.01 %LFL"}},
         "sensors.1.lost_by": ["silent"]},
    ],
)  # fmt: skip
def test_other_maps_and_ports(changes: dict[str, Any]) -> None:
    profile = with_sensor(changes)
    records = run(profile, simulated_fixture(profile.parameters, profile.wiring, seed=5))
    assert judged(profile, records).verdict == "pass"


@pytest.mark.parametrize("fault", OURS)
def test_each_fault_fails_by_name(fault: str) -> None:
    profile = with_sensor({"rules.check_before_normal": True})
    entry = next(e for e in catalogue(profile.parameters) if e.name == fault)
    peer = simulated_fixture(profile.parameters, profile.wiring, faults=[fault], seed=1)
    judgement = judged(profile, run(profile, peer))
    assert judgement.verdict == "fail"
    first = next(f for f in judgement.findings if f.verdict == "fail")
    assert (first.requirement, first.output, first.kind) == entry.expected


def test_a_board_that_never_asks_is_inconclusive_and_says_where_to_look() -> None:
    profile = with_sensor()
    peer = simulated_fixture(profile.parameters, profile.wiring, seed=1)
    board = peer.hardware._board
    assert isinstance(board, Board)
    for poller in board._pollers.values():
        poller._wrongs = Wrongs(never_asks=True)
    judgement = judged(profile, run(profile, peer))
    assert judgement.verdict == "inconclusive"
    assert "never asked sensor 1" in judgement.reason
    assert "A and B" in judgement.reason
    assert not [f for f in judgement.findings if f.verdict == "fail"]


@pytest.mark.parametrize(
    "changes",
    [
        {"bus.address": 18},
        {"bus.function": 3},
        {"registers.concentration.number": 9, "registers.status.number": 5},
    ],
)
def test_a_profile_that_does_not_fit_the_board_is_inconclusive(changes: dict[str, Any]) -> None:
    board = with_sensor()
    profile = with_sensor({f"sensors.1.{key}": value for key, value in changes.items()})
    peer = simulated_fixture(board.parameters, board.wiring, seed=1)
    judgement = judged(profile, run(profile, peer))
    assert (judgement.verdict, "never asked" in judgement.reason) == ("inconclusive", True)


def test_faults_of_other_boards_are_not_offered() -> None:
    from bench.profile import load

    names = {e.name for e in catalogue(load("invented-split-furnace").parameters)}
    assert not names & {*OURS, "bus-busy"}
    assert {*OURS, "bus-busy"} <= {e.name for e in catalogue(with_sensor().parameters)}
