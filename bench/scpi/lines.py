"""From bytes to whole messages, one reader for each role; buffers are capped.

`feed` takes whatever arrived and returns what it completed.  *More is needed*
is an empty list, never an exception.
"""

from __future__ import annotations

import re
from typing import NamedTuple

from bench.scpi import blocks

#: Longest program message in bytes, without its LF (hardware/PROTOCOL.md, 1).
LINE_LIMIT = 240
#: Longest response message that a controller takes, in bytes.
RESPONSE_LIMIT = 65_536


class Line(NamedTuple):
    """One program message, without its LF."""

    text: str


class Refused(NamedTuple):
    """A line that a device cannot take, and the number of the error that says why."""

    number: int


class Response(NamedTuple):
    """One response message, without its LF; blocks in it may hold any bytes."""

    data: bytes


class Malformed(NamedTuple):
    """Bytes that are no response message; the reader goes on behind the next LF."""

    why: str


class LineReader:
    """Device role.  A line ends at its LF whatever stands in it, so one bad line never takes the next."""

    def __init__(self, limit: int = LINE_LIMIT) -> None:
        self._limit = limit
        self._buffer = b""
        self._overrun = False

    def feed(self, data: bytes) -> list[Line | Refused]:
        *whole, rest = (self._buffer + data).split(b"\n")
        found: list[Line | Refused] = []
        for raw in whole:
            line = raw[:-1] if raw.endswith(b"\r") else raw
            # str.isprintable alone would let some characters past ASCII through.
            text = line.decode("ascii") if line.isascii() else "\0"
            if self._overrun or len(line) > self._limit:
                found.append(Refused(-363))
            elif not text.isprintable():
                found.append(Refused(-101))
            elif text.strip():
                found.append(Line(text))
            self._overrun = False
        if len(rest) > self._limit + 1:
            self._overrun, rest = True, b""
        self._buffer = rest
        return found

    def clear(self) -> None:
        """Forget what has come of an unfinished line."""
        self._buffer, self._overrun = b"", False


#: An LF, or a # that opens an element of the response.
_MARK = re.compile(rb"\n|(?:(?<=[,;])|\A)#(?=[1-9]|\Z)")


class ResponseReader:
    """Controller role: response messages, blocks honoured.

    A quote is not: no instrument of ours sends an LF in a string, and a
    damaged quote must not swallow what follows.
    """

    def __init__(self, limit: int = RESPONSE_LIMIT) -> None:
        self._limit = limit
        self._buffer = b""
        self._skip = False

    def feed(self, data: bytes) -> list[Response | Malformed]:
        self._buffer += data
        found: list[Response | Malformed] = []
        while (one := self._next()) is not None:
            found.append(one)
        return found

    def clear(self) -> None:
        """Forget what has come of an unfinished message."""
        self._buffer, self._skip = b"", False

    def _next(self) -> Response | Malformed | None:
        if self._skip:
            end = self._buffer.find(b"\n")
            if end < 0:
                self._buffer = b""
                return None
            self._buffer, self._skip = self._buffer[end + 1 :], False
        at = 0
        while True:
            mark = _MARK.search(self._buffer, at)
            if mark is None:
                return self._wait()
            if mark.group() == b"\n":
                message, self._buffer = self._buffer[: mark.start()], self._buffer[mark.end() :]
                if message.strip():
                    return Response(message)
                at = 0
                continue
            try:
                found = blocks.extent(self._buffer, mark.start())
            except ValueError as wrong:
                return self._malformed(str(wrong))
            if found is None or len(self._buffer) <= found[1]:
                return self._wait()
            if self._buffer[found[1]] not in b",;\r\n":
                return self._malformed("a block is longer than it says")
            at = found[1]

    def _wait(self) -> Malformed | None:
        return self._malformed("a response is too long") if len(self._buffer) > self._limit else None

    def _malformed(self, why: str) -> Malformed:
        self._skip = True
        return Malformed(why)
