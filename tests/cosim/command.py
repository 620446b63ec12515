"""The command itself over the co-simulation: `python -m tests.cosim.command run PROFILE --fixture 'cosim://?…'`.

The image answers like a real fixture, so the command compares its clock with
the host's.  The one thing changed for that is the host's clock: it goes by the
circuit's true time, which passes only while the command waits for bytes.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime, timezone
from unittest.mock import patch

from bench.cli import opening
from bench.cli.app import start
from bench.clock import SystemClock
from tests.cosim import opened, toolchain


class CircuitClock:
    """Stands in for `bench.clock.SystemClock` while a fixture is open."""

    def now_us(self) -> int:
        return opened.state.peer.now_us() if opened.state.peer is not None else 0

    def sleep_us(self, span_us: int) -> None:
        if opened.state.peer is not None:
            opened.state.peer.advance(self.now_us() + span_us)

    def wall(self) -> datetime:
        return SystemClock().wall().astimezone(timezone.utc)


@contextmanager
def in_the_circuit() -> Iterator[None]:
    """Commands open `cosim://`, and the host's clock is the circuit's."""
    opened.register()
    opened.state.peer = None
    with patch.object(opening, "SystemClock", CircuitClock):
        yield


if __name__ == "__main__":
    toolchain.needed()
    with in_the_circuit():
        sys.exit(start(sys.argv[1:]))
