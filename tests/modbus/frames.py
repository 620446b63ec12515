"""Worked frames of the public Modbus documents, as they stand on the wire.

Bodies: *Modbus application protocol V1.1b3*, the section named with each (6.4's answer from memory, the others seen);
unit 01 and the CRC in front and behind are not in it: the CRCs were reckoned by another program.
"""

from __future__ import annotations

#: 6.3: holding registers 108 to 110 (0x6B to 0x6D) hold 0x022B, 0 and 100.
READ_HOLDING = bytes.fromhex("01 03 00 6B 00 03 74 17")
HELD = bytes.fromhex("01 03 06 02 2B 00 00 00 64 05 7A")
#: 6.4: input register 9 (0x08) holds 10.
READ_INPUT = bytes.fromhex("01 04 00 08 00 01 B0 08")
INPUT = bytes.fromhex("01 04 02 00 0A 39 37")
#: A well-known question for ten holding registers from 0.
READ_TEN = bytes.fromhex("01 03 00 00 00 0A C5 CD")
#: Serial line V1.02, appendix: 02 07 has the CRC 0x1241, low byte first on the wire.
APPENDIX = bytes.fromhex("02 07 41 12")
#: CRC-16/MODBUS of `123456789` (CRC catalogue).
CHECK = 0x4B37

#: Silences in us by baud: 3.5 and 1.5 characters of 11 bits; fixed above 19200 baud (serial line V1.02, 2.5.1.1).
SILENCE_US = {2400: 16_041.7, 4800: 8_020.8, 9600: 4_010.4, 19200: 2_005.2, 38400: 1_750.0}
GAP_US = {2400: 6_875.0, 4800: 3_437.5, 9600: 1_718.8, 19200: 859.4, 38400: 750.0}


def character_us(baud: int) -> float:
    """Eleven bits."""
    return 11e6 / baud


def crc(body: bytes) -> bytes:
    """CRC-16/MODBUS bit by bit, as on the wire: written here apart from what is tested."""
    value = 0xFFFF
    for byte in body:
        value ^= byte
        for _ in range(8):
            value = (value >> 1) ^ (0xA001 if value & 1 else 0)
    return bytes((value & 0xFF, value >> 8))


def framed(*body: int) -> bytes:
    """A frame of these bytes."""
    return bytes(body) + crc(bytes(body))


def read(address: int, function: int, first: int, count: int) -> bytes:
    """The question for registers."""
    return framed(address, function, first >> 8, first & 0xFF, count >> 8, count & 0xFF)
