"""What each command does at the simulated fixture: the SCPI tree bound to the hardware (hardware/PROTOCOL.md, 2)."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from bench.fixture.channels import Channel
from bench.scpi.device import Device, Handler, Parameters, Wait, count
from bench.scpi.errors import ScpiError
from bench.scpi.syntax import Parameter, channels, integer, micro, word
from bench.simulated.bus import Bus, Port
from bench.simulated.rtu import MOST_REGISTERS

if TYPE_CHECKING:
    from bench.simulated.fixture import SimulatedFixture

_RELAYS = ("switch", "call", "button")
_PULSE_US = (1_000, 60_000_000)
_PULSES = 10
_WAIT_MS = 500
_FULL_SCALE_UV = 5_000_000
BAUDS = (2400, 4800, 9600, 19200, 38400)


class Commands:
    """Registers itself at `device`."""

    def __init__(self, fixture: SimulatedFixture, device: Device) -> None:
        self._fixture = fixture
        self._device = device
        for pattern, handler in {
            "*RST": self._reset,
            "*TST?": _say(lambda: "0"),
            "SYSTem:SIMulation?": _say(lambda: f"1,{fixture.speed.upper()}"),
            "SYSTem:SIMulation:TIME?": _say(lambda: str(fixture.now_us())),
            "ROUTe:CLOSe": lambda p: self._route(p, True),
            "ROUTe:CLOSe?": self._closed,
            "ROUTe:OPEN": lambda p: self._route(p, False),
            "ROUTe:OPEN:ALL": self._open_all,
            "ROUTe:PULSe": self._pulse,
            "SOURce:VOLTage": self._volts,
            "SOURce:CONTact": self._contact,
            "SOURce:MODBus:PORT": self._port,
            "SOURce:MODBus:MAP": self._map,
            "SOURce:MODBus:REGisters": self._registers,
            "SOURce:MODBus:FAIL": self._fail,
            "SOURce:MODBus:IDLE?": self._idle,
            "FETCh?": lambda p: ",".join(fixture.hardware.value(c.number) for c in self._list(p, 0)),
            "FETCh:ALL?": _say(fixture.everything),
            "FETCh:EVENts?": self._events,
            "MEASure:VOLTage:AC?": lambda p: ",".join(
                f"{fixture.hardware.volts(c.number):.2f}" for c in self._list(p, 0, "sense")
            ),
        }.items():
            device.add(pattern, handler)

    def _list(self, parameters: Parameters, at: int, *kinds: str) -> list[Channel]:
        """The channels of the list at a place, which is the last; of the kinds given, or any."""
        count(parameters, at + 1)
        return self._channels(parameters[at], *kinds)

    def _channels(self, parameter: Parameter, *kinds: str) -> list[Channel]:
        table = self._fixture.table.by_number
        found = [table.get(number) for number in channels(parameter)]
        if None in found:
            raise ScpiError(-222)
        listed = [c for c in found if c is not None]
        if kinds and any(c.kind not in kinds for c in listed):
            raise ScpiError(-224)
        return listed

    def _reset(self, parameters: Parameters) -> None:
        count(parameters, 0)
        self._fixture.hardware.safe(self._device.running, self._fixture.now_us())

    def _route(self, parameters: Parameters, on: bool) -> None:
        for channel in self._list(parameters, 0, *_RELAYS):
            self._fixture.drive(channel.number, on, self._device.running)

    def _open_all(self, parameters: Parameters) -> None:
        count(parameters, 0)
        for channel in self._fixture.table.by_number.values():
            if channel.kind in _RELAYS and self._fixture.hardware.relays.told(channel.number):
                self._fixture.drive(channel.number, False, self._device.running)

    def _closed(self, parameters: Parameters) -> str:
        listed = self._list(parameters, 0, *_RELAYS)
        return ",".join("1" if self._fixture.hardware.relays.closed(c.number) else "0" for c in listed)

    def _pulse(self, parameters: Parameters) -> None:
        count(parameters, 2, 4)
        span_us = _between(micro(parameters[0], "time"))
        listed = self._channels(parameters[1], *_RELAYS)
        times = integer(parameters[2], 1, _PULSES) if len(parameters) > 2 else 1
        gap_us = _between(micro(parameters[3], "time")) if len(parameters) > 3 and times > 1 else span_us
        for channel in listed:
            self._fixture.hardware.relays.pulse(
                channel.number, span_us, times, gap_us, self._device.running, self._fixture.now_us()
            )

    def _volts(self, parameters: Parameters) -> None:
        listed = self._list(parameters, 1, "sensor")
        value = micro(parameters[0], "voltage")
        if not 0 <= value <= _FULL_SCALE_UV:
            raise ScpiError(-222)
        self._put(listed, value)

    def _contact(self, parameters: Parameters) -> None:
        listed = self._list(parameters, 1, "sensor", "bus")
        state = word(parameters[0], ("OPEN", "SHORt", "NORMal", "LEAK"))
        if state != "OPEN" and any(c.kind == "bus" for c in listed):
            raise ScpiError(-224)
        self._put(listed, state)

    def _buses(self, parameters: Parameters, *counts: int) -> list[Channel]:
        """The buses of the list behind so many parameters as one of `counts` says."""
        count(parameters, min(counts) + 1, max(counts) + 1)
        return self._channels(parameters[-1], "bus")

    def _set_up(self, listed: list[Channel]) -> list[Bus]:
        """The buses, for a change that none may see that is connected."""
        buses = [self._fixture.hardware.buses[c.number] for c in listed]
        if any(b.told != "OPEN" for b in buses):
            raise ScpiError(-221)
        return buses

    def _port(self, parameters: Parameters) -> None:
        listed = self._buses(parameters, 4)
        address, baud = integer(parameters[0], 1, 247), integer(parameters[1], 0, 1_000_000)
        word(parameters[2], ("NONE", "EVEN", "ODD"))
        function = integer(parameters[3], 3, 4)
        if baud not in BAUDS:
            raise ScpiError(-222)
        for bus in self._set_up(listed):
            bus.port = Port(address, baud, function)

    def _map(self, parameters: Parameters) -> None:
        listed = self._buses(parameters, 1, 2)
        numbers = [integer(p, 0, 0xFFFF) for p in parameters[:-1]]
        if len(numbers) == 2 and not 1 <= abs(numbers[0] - numbers[1]) < MOST_REGISTERS:
            raise ScpiError(-222)
        for bus in self._set_up(listed):
            bus.map = (numbers[0], numbers[1] if len(numbers) == 2 else None)

    def _registers(self, parameters: Parameters) -> None:
        listed = self._buses(parameters, 1, 2)
        concentration, status = (
            [integer(p, 0, 0xFFFF - (n == 0)) for n, p in enumerate(parameters[:-1])] + [0]
        )[:2]
        self._put(listed, status * 0x10000 + concentration)

    def _fail(self, parameters: Parameters) -> None:
        listed = self._buses(parameters, 1)
        self._put(listed, word(parameters[0], ("SILent", "CRC", "EXCeption")))

    def _idle(self, parameters: Parameters) -> str:
        listed = self._buses(parameters, 0)
        now_us = self._fixture.now_us()
        return ",".join(str(int(self._fixture.hardware.buses[c.number].idle(now_us))) for c in listed)

    def _put(self, listed: list[Channel], value: str | int) -> None:
        now_us = self._fixture.now_us()
        for channel in listed:
            self._fixture.hardware.signal(channel.number, value, self._device.running, now_us)

    def _events(self, parameters: Parameters) -> str | Wait:
        count(parameters, 0, 1)
        wait_ms = integer(parameters[0], 0, _WAIT_MS) if parameters else 0
        if wait_ms and self._device.may_wait and self._fixture.wait(wait_ms * 1000):
            return Wait(self._fixture.events)
        return self._fixture.events()


def _say(what: Callable[[], str]) -> Handler:
    def handler(parameters: Parameters) -> str:
        count(parameters, 0)
        return what()

    return handler


def _between(span_us: int) -> int:
    low, high = _PULSE_US
    if not low <= span_us <= high:
        raise ScpiError(-222)
    return span_us
