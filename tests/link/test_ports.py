"""Ports: bytes go through, virtual time moves instead of sleeping, and what breaks is one sentence."""

from __future__ import annotations

import os
import socket
import threading
from collections.abc import Iterator

import pytest

from bench.errors import BenchFault
from bench.link import peers, serialport
from bench.link.base import Endpoint
from bench.link.serialport import SerialPort, candidates, open_port
from bench.link.tcp import TcpEndpoint
from tests.link.echo import Echo


@pytest.fixture
def echo() -> Echo:
    peer = Echo()
    peers.register(lambda url: peer)
    return peer


def test_a_peer_answers_in_virtual_time(echo: Echo) -> None:
    port = open_port("sim://?x=1")
    port.write(b"hello\n")
    assert port.read(500_000) == b"hello\n"
    assert echo.now_us() == 1_000


def test_a_read_that_runs_out_moves_virtual_time_that_far(echo: Echo) -> None:
    port = open_port("sim://")
    assert port.read(500_000) == b""
    assert echo.now_us() == 500_000
    port.write(b"x")
    assert port.read(500) == b""
    assert port.read(500) == b"x"


def test_an_unplugged_peer_is_one_sentence(echo: Echo) -> None:
    port = open_port("sim://")
    echo.gone = True
    for use in (lambda: port.write(b"x"), lambda: port.read(1000)):
        with pytest.raises(BenchFault, match=r"link .* broke") as caught:
            use()
        assert "\n" not in str(caught.value)


def test_closing_tells_the_peer_once_and_never_raises(echo: Echo) -> None:
    port = open_port("sim://")
    port.close()
    port.close()
    assert echo.let_go == 1
    with pytest.raises(BenchFault):
        port.write(b"x")


def test_the_url_reaches_who_makes_the_peer() -> None:
    seen: list[str] = []

    def make(url: str) -> Echo:
        seen.append(url)
        return Echo()

    peers.register(make)
    open_port("sim://?seed=3&fault=hold-short=20 s")
    assert seen == ["sim://?seed=3&fault=hold-short=20 s"]


def test_a_mistake_inside_a_peer_is_not_taken_for_a_broken_link(echo: Echo) -> None:
    def broken(data: bytes) -> None:
        raise KeyError("ours")

    echo.receive = broken  # type: ignore[method-assign]
    with pytest.raises(KeyError):
        open_port("sim://").write(b"x")


@pytest.mark.parametrize(
    "url", ["nosuchport-7", "socket://127.0.0.1:1", "socket://nonsense", "nosuch://x", "socket://127.0.0.1:0"]
)
def test_what_cannot_be_opened_is_one_sentence(url: str) -> None:
    with pytest.raises(BenchFault, match=r"cannot open") as caught:
        open_port(url)
    assert url in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    "url",
    [
        "socket://",
        "socket://localhost",
        "socket://:5025",
        "socket://h:x",
        "socket://h:99999",
        "socket://[::1",
    ],
)
def test_a_socket_without_host_or_port_is_told_how_to_write_it(url: str) -> None:
    with pytest.raises(BenchFault) as caught:
        open_port(url)
    assert (
        str(caught.value) == f"cannot open {url}; write socket://HOST:PORT, such as socket://localhost:5025"
    )


class Misbehaving:
    """A pyserial port that raises as native ports were seen to."""

    timeout = None

    def __init__(self, how: Exception) -> None:
        self._how = how

    def write(self, data: bytes) -> None:
        raise self._how

    def read(self, size: int) -> bytes:
        return b"x"

    @property
    def in_waiting(self) -> int:
        raise self._how

    def close(self) -> None:
        raise self._how


class NoOSError(Exception):
    """As termios.error, which is no OSError."""


@pytest.mark.parametrize(
    "how",
    [
        OSError(5, "Input/output error"),
        NoOSError(5, "gone"),
        TypeError("an integer is required"),
        ValueError(),
    ],
)
def test_every_misbehaviour_is_a_bench_fault(how: Exception) -> None:
    port = SerialPort(Misbehaving(how), "COM3")
    for use in (lambda: port.write(b"x"), lambda: port.read(1000)):
        with pytest.raises(BenchFault, match="COM3"):
            use()
    port.close()


def test_only_usb_ports_are_candidates(monkeypatch: pytest.MonkeyPatch) -> None:
    class Found:
        def __init__(self, device: str, vid: int | None) -> None:
            self.device, self.vid, self.description, self.serial_number = device, vid, "a port", "1"

    monkeypatch.setattr(
        serialport.list_ports, "comports", lambda: [Found("COM9", 1), Found("COM1", None), Found("COM3", 2)]
    )
    assert [c.device for c in candidates()] == ["COM3", "COM9"]


# -- endpoints ---------------------------------------------------------------------------------


def endpoints() -> list[object]:
    from importlib import import_module

    def pty() -> Endpoint:
        return import_module("bench.link.pty").PtyEndpoint()  # type: ignore[no-any-return]

    absent = pytest.mark.skipif(os.name == "nt", reason="Windows has no pseudo-terminals")
    return [pytest.param(lambda: TcpEndpoint(0), id="tcp"), pytest.param(pty, id="pty", marks=absent)]


@pytest.fixture(params=endpoints())
def endpoint(request: pytest.FixtureRequest) -> Iterator[Endpoint]:
    made = request.param()
    yield made
    made.close()


def heard(endpoint: Endpoint, tries: int = 200) -> bytes | None:
    """The first thing that is more than silence."""
    for _ in range(tries):
        data = endpoint.read(50_000)
        if data != b"":
            return data
    raise AssertionError("nothing came")


def test_bytes_pass_both_ways_and_letting_go_is_seen(endpoint: Endpoint) -> None:
    payload = bytes(range(256))
    port = open_port(endpoint.url)
    port.write(payload)
    got = b""
    while len(got) < len(payload):
        got += heard(endpoint) or b""
    assert got == payload
    endpoint.write(payload)
    back = b""
    while len(back) < len(payload):
        back += port.read(1_000_000)
    assert back == payload
    port.close()
    assert heard(endpoint) is None


def test_a_second_host_is_served_after_the_first_let_go(endpoint: Endpoint) -> None:
    for text in (b"first", b"second"):
        port = open_port(endpoint.url)
        port.write(text)
        assert heard(endpoint) == text
        port.close()
        assert heard(endpoint) is None


def test_an_endpoint_that_goes_away_breaks_the_link_in_one_sentence(endpoint: Endpoint) -> None:
    port = open_port(endpoint.url)
    endpoint.read(100_000)
    endpoint.close()
    with pytest.raises(BenchFault, match="broke") as caught:
        for _ in range(100):
            port.write(b"x\n")
            port.read(10_000)
    assert "\n" not in str(caught.value)


def test_a_tcp_port_that_is_taken_is_one_sentence() -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken, pytest.raises(BenchFault, match="name another one"):
        TcpEndpoint(taken.getsockname()[1])


def test_a_reply_over_tcp_is_read_in_one_go() -> None:
    endpoint = TcpEndpoint(0)
    port = open_port(endpoint.url)
    endpoint.read(100_000)

    def answer() -> None:
        endpoint.write(b"y" * 200)

    thread = threading.Thread(target=answer)
    thread.start()
    thread.join()
    assert port.read(1_000_000) == b"y" * 200
    port.close()
    endpoint.close()
