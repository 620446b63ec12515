"""CRC-16/IBM-3740: polynomial 0x1021, start 0xFFFF, not reflected, no final change; check value 0x29B1."""

from __future__ import annotations

from binascii import crc_hqx


def crc16(data: bytes) -> int:
    """CRC of `data`; of `123456789` it is 0x29B1."""
    # The standard library's routine is the same polynomial with the start as an argument.
    return crc_hqx(data, 0xFFFF)


def sealed(data: bytes) -> bytes:
    """`data` with its CRC behind it, as four upper-case hex digits."""
    return b"%b%04X" % (data, crc16(data))


def unsealed(data: bytes) -> bytes | None:
    """What `sealed` was given, or None if the CRC does not fit."""
    body = data[:-4]
    return body if len(data) >= 4 and data[-4:] == b"%04X" % crc16(body) else None
