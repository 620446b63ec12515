"""A link that damages one byte: dropped, doubled, or one bit flipped; for tests of everything above it."""

from __future__ import annotations

from dataclasses import dataclass

from bench.link.base import Port

HOW = ("drop", "double", "flip")


@dataclass(frozen=True, slots=True)
class Damage:
    """`sent`: bytes from the host, else to it.  `position` counts from 0; `bit` 0 to 7 is for `flip`."""

    sent: bool
    position: int
    how: str
    bit: int = 0

    def apply(self, data: bytes, at: int) -> bytes:
        """`data` with its byte `at` damaged."""
        byte = data[at]
        if self.how == "flip":
            now = bytes([byte ^ (1 << self.bit)])
        else:
            now = b"" if self.how == "drop" else bytes([byte, byte])
        return data[:at] + now + data[at + 1 :]


class DamagedPort:
    """Passes everything on but for one byte.  `counted`: how many bytes went (to the fixture, to the host)."""

    def __init__(self, port: Port, damage: Damage | None) -> None:
        self._port = port
        self._damage = damage
        self.name = port.name
        self.counted = [0, 0]

    def write(self, data: bytes) -> None:
        self._port.write(self._pass(data, sent=True))

    def read(self, timeout_us: int) -> bytes:
        return self._pass(self._port.read(timeout_us), sent=False)

    def close(self) -> None:
        self._port.close()

    def _pass(self, data: bytes, *, sent: bool) -> bytes:
        side = 0 if sent else 1
        first = self.counted[side]
        self.counted[side] += len(data)
        damage = self._damage
        if damage is not None and damage.sent is sent and first <= damage.position < self.counted[side]:
            return damage.apply(data, damage.position - first)
        return data
