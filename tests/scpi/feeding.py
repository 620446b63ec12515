"""Every vector goes in whole, byte by byte, and with bytes of the next message behind it."""

from __future__ import annotations

from collections.abc import Callable, Iterator


def ways(data: bytes, trailing: bytes) -> Iterator[tuple[str, list[bytes]]]:
    yield "whole", [data]
    yield "byte by byte", [data[i : i + 1] for i in range(len(data))]
    yield "with trailing bytes", [data + trailing]


def fed(make: Callable[[], Callable[[bytes], list]], data: bytes, trailing: bytes = b"") -> dict[str, list]:
    """What a fresh reader gives for each way of feeding it."""
    found = {}
    for way, chunks in ways(data, trailing):
        feed = make()
        found[way] = [message for chunk in chunks for message in feed(chunk)]
    return found
