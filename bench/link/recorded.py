"""A link that remembers what went over it, and one that plays that back without a fixture."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from bench.errors import BenchFault
from bench.link.base import Port


class Transfer(NamedTuple):
    """What one call moved.  `sent`: from the host; else to it, where no bytes are a wait that ran out."""

    sent: bool
    data: bytes


class RecordingPort:
    """Passes everything on and keeps it in `transfers`."""

    def __init__(self, port: Port) -> None:
        self._port = port
        self.name = port.name
        self.transfers: list[Transfer] = []

    def write(self, data: bytes) -> None:
        self.transfers.append(Transfer(True, data))
        self._port.write(data)

    def read(self, timeout_us: int) -> bytes:
        data = self._port.read(timeout_us)
        self.transfers.append(Transfer(False, data))
        return data

    def close(self) -> None:
        self._port.close()


class ReplayPort:
    """Answers as was recorded; a host that asks something else is told so."""

    def __init__(self, transfers: Sequence[Transfer], name: str = "replay") -> None:
        self._transfers = list(transfers)
        self._at = 0
        self.name = name

    def write(self, data: bytes) -> None:
        expected = self._next(True)
        if data != expected:
            raise BenchFault(
                f"{self.name}: transfer {self._at} was {expected!r} when recorded and is {data!r} now"
            )

    def read(self, timeout_us: int) -> bytes:
        return self._next(False)

    def close(self) -> None:
        """There is nothing to let go of."""

    def _next(self, sent: bool) -> bytes:
        if self._at == len(self._transfers):
            raise BenchFault(f"{self.name}: the recording is over after {self._at} transfers")
        transfer = self._transfers[self._at]
        self._at += 1
        if transfer.sent is not sent:
            raise BenchFault(f"{self.name}: transfer {self._at} went the other way when recorded")
        return transfer.data
