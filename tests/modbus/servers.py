"""The two makings of the server, the simulated fixture's and the firmware's, behind one way to talk to them."""

from __future__ import annotations

import ctypes
from collections.abc import Mapping

from bench.fixture.channels import load_channels
from bench.scpi import blocks
from bench.scpi.crc import unsealed
from bench.simulated.absent import NoBoard
from bench.simulated.fixture import SimulatedFixture
from tests.hardware.fixture.library import Firmware
from tests.modbus.board import with_sensor
from tests.modbus.frames import character_us

BUS = 34


class Server:
    """`say`: a line to the fixture.  `send`: bytes of the board from now on; `answer` what comes back."""

    def __init__(self) -> None:
        self.baud = 9600

    def say(self, line: str) -> str:
        raise NotImplementedError

    def wait(self, us: float) -> None:
        raise NotImplementedError

    def now_us(self) -> int:
        raise NotImplementedError

    def send(self, frame: bytes, gaps: Mapping[int, float] | None = None) -> None:
        """`gaps`: place of a byte -> silence in us ahead of it.  Returns when the last byte is over."""
        raise NotImplementedError

    def answer(self) -> bytes:
        """What came back since the last look, all of it over."""
        raise NotImplementedError

    def exchange(self, frame: bytes, gaps: Mapping[int, float] | None = None) -> bytes:
        """A question in peace, and its answer."""
        self.wait(50_000)
        self.answer()
        self.send(frame, gaps)
        self.wait(200_000)
        return self.answer()

    def set_up(self, port: str, numbers: str, state: str) -> None:
        self.baud = int(port.split(",")[1])
        self.say("*CLS")
        self.say("SOUR:CONT OPEN,(@34)")
        self.wait(100_000)
        self.say(f"SOUR:MODB:PORT {port},(@34);MAP {numbers},(@34)")
        assert self.say("SYST:ERR?").startswith("0,")
        self.events()
        self.state(state)

    def state(self, what: str) -> None:
        self.say(f"SOUR:MODB:{what},(@34)")
        self.wait(100_000)

    def events(self) -> list[list[str]]:
        """Records of the bus, as their fields."""
        found: list[list[str]] = []
        while True:
            body = unsealed(blocks.decode(self.say("FETC:EVEN?").encode("ascii")))
            assert body is not None
            _, *records = body.decode("ascii").split(";")
            found += [r.split(",") for r in records if r]
            if len(records) < 2:
                return [r for r in found if r[2] == str(BUS)]


class FirmwareServer(Server):
    def __init__(self, firmware: Firmware) -> None:
        super().__init__()
        self._firmware = firmware
        self._buffer = ctypes.create_string_buffer(512)

    def say(self, line: str) -> str:
        return self._firmware.say(line)

    def wait(self, us: float) -> None:
        self._firmware.wait(us / 1e6)

    def now_us(self) -> int:
        return self._firmware.now_us()

    def send(self, frame: bytes, gaps: Mapping[int, float] | None = None) -> None:
        over = float(self.now_us())
        for place, byte in enumerate(frame):
            over += (gaps or {}).get(place, 0.0) + character_us(self.baud)
            self._firmware.library.host_bus_receive(byte, False, round(over))
        self.wait(over - self.now_us())

    def answer(self) -> bytes:
        count = self._firmware.library.host_bus_take(self._buffer, 512)
        return self._buffer.raw[:count]


class _Ear(NoBoard):
    """Keeps what it hears on the bus."""

    def __init__(self) -> None:
        self.said = b""

    def heard(self, name: str, data: bytes, at_us: int) -> None:
        self.said += data


class SimulatedServer(Server):
    def __init__(self) -> None:
        super().__init__()
        self._ear = _Ear()
        profile = with_sensor()
        self.peer = SimulatedFixture(self._ear, profile.parameters, profile.wiring, load_channels())

    def say(self, line: str) -> str:
        self.peer.receive(line.encode("ascii") + b"\n")
        return self.peer.take().decode("ascii").removesuffix("\n")

    def wait(self, us: float) -> None:
        self.peer.advance(self.now_us() + round(us))

    def now_us(self) -> int:
        return self.peer.now_us()

    def send(self, frame: bytes, gaps: Mapping[int, float] | None = None) -> None:
        start, bus = float(self.now_us()), self.peer.hardware.buses[BUS]
        for place in range(len(frame)):
            start += (gaps or {}).get(place, 0.0)
            bus.heard(frame[place : place + 1], start)
            start += character_us(self.baud)
            self.wait(start - self.now_us())

    def answer(self) -> bytes:
        said, self._ear.said = self._ear.said, b""
        return said
