"""Ports by way of pyserial, and every way in which pyserial misbehaves turned into one BenchFault."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any
from urllib.parse import urlsplit

import serial
from serial.tools import list_ports

from bench.errors import BenchFault, MitbenchError

# Imported here first: an ImportError inside a handler would show as "protocol not known".
from bench.link.handlers import protocol_sim

_HANDLERS = protocol_sim.__name__.rpartition(".")[0]
if _HANDLERS not in serial.protocol_handler_packages:
    serial.protocol_handler_packages.append(_HANDLERS)

BAUD = 115_200
#: A write that takes longer than this, in s, is a fault: nothing we send is longer than a line.
WRITE_TIMEOUT_S = 1.0
_CHUNK = 4096


@dataclass(frozen=True, slots=True)
class Candidate:
    """A port on which a fixture may be: `device` is what to open."""

    device: str
    description: str
    serial_number: str | None


def candidates() -> list[Candidate]:
    """USB serial ports of this computer, in order of their names.  Opens none of them."""
    found = [p for p in list_ports.comports() if p.vid is not None]
    return [
        Candidate(p.device, p.description, p.serial_number) for p in sorted(found, key=lambda p: p.device)
    ]


class SerialPort:
    """A pyserial port, native or by URL.  Implements `bench.link.base.Port`."""

    def __init__(self, port: Any, name: str) -> None:
        self._port = port
        self.name = name
        self._timeout_us = -1
        scheme = name.partition("://")[0].lower()
        # A gone device shows as SerialException, OSError, termios.error (no OSError) or TypeError, by system and
        # call. In the peer of the same process anything but SerialException is a mistake of ours and must show.
        self._errors: tuple[type[Exception], ...] = (
            (serial.SerialException,) if scheme == "sim" else (Exception,)
        )
        # A socket tells only whether there is something, not how much.
        self._counts = scheme != "socket"

    def write(self, data: bytes) -> None:
        try:
            self._port.write(data)
        except self._errors as wrong:
            raise self._gone(wrong) from wrong

    def read(self, timeout_us: int) -> bytes:
        port = self._port
        try:
            if timeout_us != self._timeout_us:
                port.timeout = timeout_us / 1e6
                self._timeout_us = timeout_us
            data: bytes = port.read(1)
            if data and self._counts:
                more = port.in_waiting
                if more:
                    data += port.read(more)
            elif data:
                port.timeout, self._timeout_us = 0, 0
                data += port.read(_CHUNK)
        except self._errors as wrong:
            raise self._gone(wrong) from wrong
        return data

    def close(self) -> None:
        try:
            self._port.close()
        except self._errors:
            return  # it is gone already, which is what was wanted

    def _gone(self, wrong: Exception) -> MitbenchError:
        if isinstance(wrong, MitbenchError):
            return wrong
        return BenchFault(
            f"the link to the fixture at {self.name} broke ({_reason(wrong)}); check plug and cable"
        )


def open_port(url: str) -> SerialPort:
    """Open a serial device, `socket://HOST:PORT` or `sim://…`, for this program alone.

    Opening may restart the controller behind it; wait for its answer to
    `*IDN?`.  Raises BenchFault; what makes a `sim://` peer may raise UsageError.
    """
    _check_socket(url)
    try:
        port = serial.serial_for_url(url, do_not_open=True)
        port.baudrate = BAUD
        port.timeout = 0
        port.write_timeout = WRITE_TIMEOUT_S
        port.exclusive = True
        port.open()
    except MitbenchError:
        raise
    except (serial.SerialException, OSError, ValueError) as wrong:
        if url.lower().startswith("sim:") and not isinstance(wrong, serial.SerialException):
            raise  # a mistake of ours in what makes the peer
        raise BenchFault(
            f"cannot open {url} ({_reason(wrong)}); check its name, and that nothing else is using it"
        ) from wrong
    return SerialPort(port, url)


def _check_socket(url: str) -> None:
    """Name a host or port that is missing or no number, which pyserial reports as a mistake of its own."""
    if not url.lower().startswith("socket://"):
        return
    try:
        whole = urlsplit(url)
        known = bool(whole.hostname) and whole.port is not None
    except ValueError:
        known = False
    if not known:
        raise BenchFault(f"cannot open {url}; write socket://HOST:PORT, such as socket://localhost:5025")


def _reason(wrong: Exception) -> str:
    """What an exception says, on one line and without what repeats the port's name."""
    if isinstance(wrong, OSError) and wrong.strerror:
        return wrong.strerror.splitlines()[0]
    text = " ".join(str(wrong).split()) or type(wrong).__name__
    return text if len(text) <= 120 else text[:117] + "..."
