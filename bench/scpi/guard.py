"""Guarded requests and their replies, both roles: a message with identity and CRC (hardware/PROTOCOL.md, 3)."""

from __future__ import annotations

import re
from typing import NamedTuple

from bench.scpi import blocks
from bench.scpi.crc import crc16, sealed, unsealed

IDENTITY_LIMIT = 0xFFFFFFFF


class Reply(NamedTuple):
    """What a fixture answered.  `request_crc` and `identity` name the request; `error` 0 is none."""

    identity: int
    request_crc: int
    boot: int
    error: int
    tick: int
    response: str


def request_crc(identity: int, message: str) -> int:
    return crc16(f"{identity},{message}".encode("ascii"))


def request(identity: int, message: str) -> bytes:
    """The line that carries `message`, with its LF."""
    crc = request_crc(identity, message)
    if '"' in message:
        message = message.replace('"', '""')
    return f'SYST:GUAR? {identity},#H{crc:04X},"{message}"\n'.encode("ascii")


#: A request exactly as `request` writes it: what a host sends all day is not taken apart by the general parser.
_REQUEST = re.compile(r'SYST:GUAR\? (\d{1,10}),#H([0-9A-F]{4}),"((?:[^"]|"")*)"\Z')


def read_request(line: str) -> tuple[int, int, str] | None:
    """Identity, CRC and message of a request in the form of `request`, or None for any other line."""
    match = _REQUEST.match(line)
    if match is None:
        return None
    return int(match[1]), int(match[2], 16), match[3].replace('""', '"')


def reply(identity: int, crc: int, boot: int, error: int, tick: int, response: str) -> str:
    """The response message of a guarded request, without its LF."""
    body = f"{identity},{crc:04X},{boot},{error},{tick},{response},".encode("ascii")
    return blocks.encode(sealed(body)).decode("ascii")


def read_reply(response: bytes) -> Reply | None:
    """A reply, or None if the response message is damaged or no reply."""
    try:
        body = unsealed(blocks.decode(response))
        if body is None:
            return None
        identity, crc, boot, error, tick, rest = body.decode("ascii").split(",", 5)
        return Reply(int(identity), int(crc, 16), int(boot), int(error), int(tick), rest[:-1])
    except ValueError:
        return None
