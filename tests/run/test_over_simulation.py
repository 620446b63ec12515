"""Runs over the serial language to the simulated fixture: the driver, the session and the judge together."""

from __future__ import annotations

import pytest

from bench.clock import SystemClock
from bench.fixture.channels import load_channels
from bench.fixture.driver import Fixture
from bench.judge.judge import judge_trace
from bench.link import peers
from bench.link.serialport import open_port
from bench.procedure import load as load_procedure
from bench.profile import load
from bench.run.observer import Silent
from bench.run.session import run_session
from bench.simulated.fixture import SimulatedFixture
from bench.simulated.peer import simulated_fixture
from bench.trace.file import trace_of
from bench.trace.records import Applied, Clock, End, Header, Readback, Record

PROFILES = ["invented-split-furnace", "invented-air-handler"]


class Session:
    """One run against a simulated board; `records` is the trace without its header."""

    def __init__(
        self,
        profile: str,
        faults: tuple[str, ...] = (),
        procedure: str = "acceptance",
        stop_after: int = 10**9,
    ):
        self.profile = load(profile)
        parameters, wiring = self.profile.parameters, self.profile.wiring
        self.peer: SimulatedFixture = simulated_fixture(parameters, wiring, faults=faults, seed=3)
        peers.register(lambda url: self.peer)
        self.records: list[Record] = []
        bench = Fixture(
            open_port("sim://"),
            wiring,
            load_channels(),
            SystemClock(),
            calls_fed_from=parameters.calls_fed_from,
        )
        try:
            self.end: End = run_session(
                bench, load_procedure(procedure, parameters), self.profile,
                sink=self.records.append, observer=Silent(), stop=lambda: len(self.records) > stop_after,
            )  # fmt: skip
            for _ in range(20):  # relays need time to release, and virtual time goes only in this query
                bench.ask("FETC:EVEN? 50")
            self.open_after = bench.ask("ROUT:CLOS? (@1,2,3,4,5)")
        finally:
            bench.close()

    def judged(self):
        header = Header(self.profile.data, self.profile.sha256, self.profile.wiring, simulated=True)
        return judge_trace(trace_of([header, *self.records], "test"), self.profile.parameters)


@pytest.mark.parametrize("profile", PROFILES)
def test_a_good_board_passes_and_everything_is_open_after(profile):
    session = Session(profile)
    assert session.end.reason == "complete"
    assert session.judged().verdict == "pass"
    assert session.open_after == "0,0,0,0,0"


@pytest.mark.parametrize("profile", PROFILES)
def test_every_stimulus_is_read_back_within_200_ms(profile):
    records = Session(profile).records
    applied = {r.seq: r for r in records if isinstance(r, Applied)}
    read = {r.of: r for r in records if isinstance(r, Readback) and r.what == "position"}
    assert set(applied) == set(read)
    assert all(read[seq].earliest_us - a.latest_us <= 200_000 for seq, a in applied.items())


def test_waits_hold_in_true_time_though_the_fixture_clock_is_off():
    session = Session("invented-split-furnace")
    clocks = [r for r in session.records if isinstance(r, Clock)]
    rate = (clocks[-1].tick_us - clocks[0].tick_us) / (clocks[-1].host_after_us - clocks[0].host_after_us)
    assert abs(rate - 1) > 0.0002  # else this test shows nothing
    assert {f.verdict for f in session.judged().findings} == {"pass"}


def test_an_overload_is_opened_within_100_ms_and_ends_the_run_as_complete():
    session = Session("invented-split-furnace", ("loads-supply",))
    assert session.end.reason == "complete" and "loads the supply" in session.end.text
    mains = [r for r in session.records if isinstance(r, Applied) and r.ch == "main"]
    assert [r.value for r in mains] == ["closed", "open"]
    assert mains[1].latest_us - mains[0].earliest_us <= 300_000  # 200 ms to come up, 100 ms to open


@pytest.mark.parametrize(
    "fault",
    ["input-dead:sense.board", "relay-stuck:main", "main-shorted", "relay-dead:call.W", "signal-drift"],
)
def test_a_fault_of_the_fixture_ends_as_bench_fault(fault):
    assert Session("invented-split-furnace", (fault,)).end.reason == "bench-fault"


def test_a_stopped_run_leaves_nothing_energised():
    session = Session("invented-split-furnace", stop_after=60)
    assert session.end.reason == "stopped" and session.open_after == "0,0,0,0,0"


def test_survey_is_never_a_verdict():
    session = Session("invented-split-furnace", ("stuck-on:W",), procedure="survey")
    assert session.end.reason == "complete"
