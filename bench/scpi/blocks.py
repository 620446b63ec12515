"""Definite-length blocks: `#<digits><length><bytes>` (IEEE 488.2, 8.7.9)."""

from __future__ import annotations


def encode(data: bytes) -> bytes:
    """`data` as a definite-length block."""
    length = b"%d" % len(data)
    return b"#%d%b%b" % (len(length), length, data)


def extent(buffer: bytes | bytearray, start: int = 0) -> tuple[int, int] | None:
    """Where the bytes of the block that begins at `start` begin and end.

    None: more bytes are needed to tell.  The end may lie past the buffer.
    Raises ValueError where no definite-length block stands.
    """
    if len(buffer) < start + 2:
        if buffer[start : start + 1] not in (b"#", b""):
            raise ValueError("a block begins with #")
        return None
    digits = buffer[start + 1] - 48
    if buffer[start] != 35 or not 1 <= digits <= 9:
        raise ValueError("a block begins with # and a digit from 1 to 9")
    begin = start + 2 + digits
    length = bytes(buffer[start + 2 : begin])
    if length and not length.isdigit():
        raise ValueError(f"the length of a block is written in digits, not {length!r}")
    return (begin, begin + int(length)) if len(length) == digits else None


def decode(block: bytes) -> bytes:
    """The bytes of a whole block; raises ValueError if it is not one, cut off, or longer than it says."""
    found = extent(block)
    if found is None or found[1] != len(block):
        raise ValueError("a block is as long as it says")
    return block[found[0] :]
