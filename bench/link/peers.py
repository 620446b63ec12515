"""Who makes the peer behind a `sim://` URL: registered by the command line, or by a test."""

from __future__ import annotations

from collections.abc import Callable

from bench.errors import BenchFault
from bench.link.base import Peer

_makers: list[Callable[[str], Peer]] = []


def register(make: Callable[[str], Peer]) -> None:
    """From now on `sim://` URLs are opened by `make(url)`, which may raise UsageError."""
    _makers[:] = [make]


def make_peer(url: str) -> Peer:
    if not _makers:
        raise BenchFault(f"{url}: no simulated fixture is set up in this program")
    return _makers[0](url)
