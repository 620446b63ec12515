"""Modbus RTU in bytes and character times, as both ends of the simulated bus need it.

From the public documents: Modbus application protocol V1.1b3 (functions and
exceptions) and Modbus over serial line V1.02 (frames, silence, CRC).
"""

from __future__ import annotations

from functools import lru_cache

#: Start bit, 8 data bits, parity or a second stop bit, stop bit.
_CHARACTER_BITS = 11
#: Above this rate the silences are fixed times.
_FIXED_ABOVE_BAUD = 19_200
_FIXED_SILENCE_US, _FIXED_GAP_US = 1_750, 750

ILLEGAL_FUNCTION, ILLEGAL_ADDRESS, ILLEGAL_VALUE, DEVICE_FAILURE = 1, 2, 3, 4
#: Most registers that one question may ask for.
MOST_REGISTERS = 125


def character_us(baud: int) -> float:
    """How long one character takes."""
    return _CHARACTER_BITS * 1e6 / baud


def silence_us(baud: int) -> float:
    """The silence that parts two frames: 3.5 characters, 1.75 ms above 19200 baud."""
    return _FIXED_SILENCE_US if baud > _FIXED_ABOVE_BAUD else 3.5 * character_us(baud)


def gap_us(baud: int) -> float:
    """A silence inside a frame longer than this spoils it: 1.5 characters, 0.75 ms above 19200 baud."""
    return _FIXED_GAP_US if baud > _FIXED_ABOVE_BAUD else 1.5 * character_us(baud)


def _table() -> tuple[int, ...]:
    found = []
    for byte in range(256):
        for _ in range(8):
            byte = (byte >> 1) ^ 0xA001 if byte & 1 else byte >> 1
        found.append(byte)
    return tuple(found)


_TABLE = _table()


@lru_cache(maxsize=1024)
def crc16(data: bytes) -> int:
    """CRC-16/MODBUS: polynomial 0x8005 reflected, start 0xFFFF; of `123456789` it is 0x4B37."""
    crc = 0xFFFF
    for byte in data:
        crc = (crc >> 8) ^ _TABLE[(crc ^ byte) & 0xFF]
    return crc


def sealed(body: bytes) -> bytes:
    """A frame: its body and its CRC, low byte first."""
    return body + crc16(body).to_bytes(2, "little")


def sound(frame: bytes) -> bool:
    """Whether a frame's CRC fits."""
    return len(frame) >= 4 and crc16(frame[:-2]) == int.from_bytes(frame[-2:], "little")


def read_request(address: int, function: int, first: int, count: int) -> bytes:
    """The question for `count` registers from `first` on."""
    return sealed(bytes((address, function)) + first.to_bytes(2, "big") + count.to_bytes(2, "big"))
