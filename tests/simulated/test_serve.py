"""A simulated fixture on a port: the same records as in the same process, and safe when its host is gone."""

from __future__ import annotations

import os
import threading
from collections.abc import Iterator
from contextlib import contextmanager

import pytest

from bench.clock import SystemClock, VirtualClock
from bench.errors import BenchFault
from bench.fixture.channels import load_channels
from bench.fixture.driver import Fixture
from bench.link.base import Endpoint
from bench.link.serialport import open_port
from bench.link.tcp import TcpEndpoint
from bench.simulated.fixture import SimulatedFixture
from bench.simulated.peer import simulated_fixture
from bench.simulated.serve import serve
from bench.trace.records import Clock, Record
from tests.boards import furnace
from tests.fixture.stand import CLEAR, Stand


class Script(Endpoint):
    """A host that was written down: what it sends at each look, None where it lets go; keeps what it gets."""

    url = "script"

    def __init__(self, *sends: bytes | None) -> None:
        self._sends = list(sends)
        self.got = b""
        self.closed = False

    def read(self, timeout_us: int) -> bytes | None:
        return self._sends.pop(0) if self._sends else b""

    def over(self) -> bool:
        return not self._sends

    def write(self, data: bytes) -> None:
        self.got += data

    def close(self) -> None:
        self.closed = True


def test_at_speed_max_time_moves_only_while_the_event_query_waits() -> None:
    peer = simulated_fixture(furnace())
    host = Script(
        b"ROUT:CLOS (@1)\n", b"", b"", b"*OPC?\n", b"", b"FETC:EVEN? 500\n", b"", b"FETC:EVEN? 500\n", b""
    )
    serve(host, peer, VirtualClock(), host.over)
    assert host.closed
    assert [line[:1] for line in host.got.split(b"\n")] == [b"1", b"#", b"#", b""]
    assert 0 < peer.now_us() < 10_000  # the read-back of a transistor switch


def test_a_host_that_lets_go_at_speed_max_finds_everything_open() -> None:
    peer = simulated_fixture(furnace())
    host = Script(b"ROUT:CLOS (@1,2,3)\n", None, b"\n*CLS\nFETC:EVEN? 0\n", b"")
    serve(host, peer, VirtualClock(), host.over)
    assert not peer.hardware.energised
    assert b"APPL,3,0" in host.got


def test_without_a_host_time_stands_still_again() -> None:
    peer = simulated_fixture(furnace())
    host = Script(b"ROUT:CLOS (@1)\nFETC:EVEN? 0\nFETC:EVEN? 500\n", None, *[b""] * 50)
    serve(host, peer, VirtualClock(), host.over)
    assert 3_000_000 < peer.now_us() < 4_000_000


def test_at_speed_n_time_goes_n_times_as_fast() -> None:
    clock = VirtualClock()

    class Slow(Script):
        def read(self, timeout_us: int) -> bytes | None:
            clock.sleep_us(min(timeout_us, 10_000) or 1)
            return super().read(timeout_us)

    peer = simulated_fixture(furnace(), speed="5")
    host = Slow(*[b""] * 100)
    serve(host, peer, clock, host.over)
    assert peer.now_us() == pytest.approx(5 * clock.now_us(), abs=100_000)


def test_the_dead_man_counts_the_computers_seconds() -> None:
    for speed, left_us in (("max", 3_000_000), ("1", 3_000_000), ("200", 600_000_000)):
        peer = simulated_fixture(furnace(), speed=speed)
        peer.receive(b"ROUT:CLOS (@1)\n")
        for to_us, energised in ((left_us - 1_000, True), (left_us + 1_000, False)):
            while peer.now_us() < to_us:
                peer.advance(to_us)
            assert peer.hardware.energised is energised


# -- on real ports -----------------------------------------------------------------------------


@contextmanager
def served(endpoint: Endpoint, peer: SimulatedFixture) -> Iterator[str]:
    stop = threading.Event()
    thread = threading.Thread(target=serve, args=(endpoint, peer, SystemClock(), stop.is_set), daemon=True)
    thread.start()
    try:
        yield endpoint.url
    finally:
        stop.set()
        thread.join()


def pty() -> Endpoint:
    from bench.link.pty import PtyEndpoint

    return PtyEndpoint()


KINDS = [
    pytest.param(lambda: TcpEndpoint(0), id="tcp"),
    pytest.param(pty, id="pty", marks=pytest.mark.skipif(os.name == "nt", reason="Windows has none")),
]


def exercised(bench: Fixture) -> list[Record]:
    stand = Stand.__new__(Stand)
    stand.bench, stand.records = bench, []
    stand.bench.start()
    stand.power(13)
    stand.put("call.Y", "on", 1)
    return stand.records


@pytest.mark.parametrize("make", KINDS)
def test_the_same_records_as_in_the_same_process(make: object) -> None:
    near = Stand(seed=4)
    table = load_channels()
    with served(make(), simulated_fixture(furnace(), seed=4)) as url:  # type: ignore[operator]
        far = Fixture(open_port(url), table.wiring, table, SystemClock())
        assert exercised(far) == exercised(near.bench)
        far.close()


def test_at_a_given_speed_the_hosts_clock_is_scaled() -> None:
    table = load_channels()
    with served(TcpEndpoint(0), simulated_fixture(furnace(), speed="10")) as url:
        bench = Fixture(open_port(url), table.wiring, table, SystemClock())
        assert bench.identity.speed == "10"
        samples: list[Clock] = []
        for _ in range(2):
            samples.append(bench.sample_clock())
            bench.poll(500_000)
        bench.close()
    ticks = samples[1].tick_us - samples[0].tick_us
    longest_us = samples[1].host_after_us - samples[0].host_before_us
    shortest_us = samples[1].host_before_us - samples[0].host_after_us
    # The true span lies between the two, the fixture's clock is within 0.5 % and is served in steps.
    assert 0.99 * shortest_us <= ticks <= 1.01 * longest_us + 100_000


@pytest.mark.parametrize("make", KINDS)
def test_an_unplugged_fixture_is_one_sentence(make: object) -> None:
    table = load_channels()
    peer = simulated_fixture(furnace(), faults=["unplugged"])
    with served(make(), peer) as url:  # type: ignore[operator]
        stand = Stand.__new__(Stand)
        stand.bench, stand.records = Fixture(open_port(url), table.wiring, table, SystemClock()), []
        stand.start()
        with pytest.raises(BenchFault, match=r"broke|does not answer") as caught:
            stand.put("sensor.1", CLEAR)
            stand.put("main", "closed", 100)
        assert "\n" not in str(caught.value)
        stand.bench.close()
    assert not peer.hardware.energised
