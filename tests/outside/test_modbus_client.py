"""A Modbus client of others reads the emulated sensor over a pseudo-terminal, real frames both ways.

pymodbus (BSD licence) frames, checks and takes apart on its own.  Time of the
fixture is virtual: what comes in is taken as sent in one go.  A pseudo-terminal
carries bytes only and refuses to be set to a parity, so the client has none.
"""

from __future__ import annotations

import sys
import threading
from collections.abc import Callable, Iterator

import pytest

from tests.hardware.fixture.conftest import library as library
from tests.modbus.conftest import new_server as new_server
from tests.modbus.servers import Server

client_of = pytest.importorskip("pymodbus.client", reason="pymodbus is in the extra `test`")
pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="no pseudo-terminals here")


class Sensor:
    """A server behind a pseudo-terminal; a lock keeps the fixture's commands apart from its frames."""

    def __init__(self, server: Server) -> None:
        from bench.link.pty import PtyEndpoint

        self.server = server
        self._lock = threading.Lock()
        self._end = PtyEndpoint()
        self._stop = False
        self._thread = threading.Thread(target=self._serve, daemon=True)
        self._thread.start()
        self.client = client_of.ModbusSerialClient(
            self._end.url, baudrate=server.baud, parity="N", timeout=0.3, retries=0
        )
        assert self.client.connect()

    def _serve(self) -> None:
        while not self._stop:
            asked = self._end.read(20_000)
            if asked:
                with self._lock:
                    self._end.write(self.server.exchange(asked))

    def say(self, what: str) -> None:
        with self._lock:
            self.server.state(what)

    def close(self) -> None:
        self.client.close()
        self._stop = True
        self._thread.join()
        self._end.close()


@pytest.fixture
def open_sensor(new_server: Callable[[], Server]) -> Iterator[Callable[[str, str], Sensor]]:
    opened: list[Sensor] = []

    def make(port: str, numbers: str) -> Sensor:
        server = new_server()
        server.set_up(port, numbers, "REG 250,0")
        opened.append(Sensor(server))
        return opened[-1]

    yield make
    for sensor in opened:
        sensor.close()


def test_it_reads_concentration_and_status(open_sensor: Callable[[str, str], Sensor]) -> None:
    sensor = open_sensor("17,9600,EVEN,4", "2,0")
    answer = sensor.client.read_input_registers(address=0, count=3, device_id=17)
    assert (answer.isError(), answer.registers) == (False, [0, 0, 250])
    sensor.say("REG 65534,40")
    assert sensor.client.read_input_registers(address=0, count=3, device_id=17).registers == [40, 0, 65534]
    assert sensor.client.read_input_registers(address=2, count=1, device_id=17).registers == [65534]


def test_holding_registers_far_apart(open_sensor: Callable[[str, str], Sensor]) -> None:
    sensor = open_sensor("247,38400,ODD,3", "1100,1224")
    answer = sensor.client.read_holding_registers(address=1100, count=125, device_id=247)
    assert answer.registers == [250, *[0] * 124]


@pytest.mark.parametrize(
    ("first", "count", "code"), [(3, 1, 2), (0, 4, 2)]
)  # fmt: skip
def test_it_understands_the_exceptions(
    open_sensor: Callable[[str, str], Sensor], first: int, count: int, code: int
) -> None:
    sensor = open_sensor("17,9600,EVEN,4", "2,0")
    answer = sensor.client.read_input_registers(address=first, count=count, device_id=17)
    assert (answer.isError(), answer.exception_code) == (True, code)
    other = sensor.client.read_holding_registers(address=0, count=3, device_id=17)
    assert other.exception_code == 1


def test_it_notices_each_way_to_fail(open_sensor: Callable[[str, str], Sensor]) -> None:
    from pymodbus.exceptions import ModbusIOException

    sensor = open_sensor("17,9600,EVEN,4", "2,0")
    for state in ("FAIL SIL", "FAIL CRC"):
        sensor.say(state)
        with pytest.raises(ModbusIOException):
            sensor.client.read_input_registers(address=0, count=3, device_id=17)
    sensor.say("FAIL EXC")
    assert sensor.client.read_input_registers(address=0, count=3, device_id=17).exception_code == 4
    sensor.say("REG 1,0")
    assert sensor.client.read_input_registers(address=0, count=3, device_id=17).registers == [0, 0, 1]
