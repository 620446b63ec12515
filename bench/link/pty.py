"""A pseudo-terminal on which a host finds a fixture as on a serial port.  POSIX only; nothing else here is."""

from __future__ import annotations

import contextlib
import os
import select
import tty

from bench.errors import BenchFault

_CHUNK = 65_536


class PtyEndpoint:
    """A new pseudo-terminal; `url` is the device to open.  Implements `bench.link.base.Endpoint`."""

    def __init__(self) -> None:
        try:
            self._master, slave = os.openpty()
        except OSError as wrong:
            raise BenchFault(f"no pseudo-terminal can be had ({wrong.strerror})") from wrong
        tty.setraw(slave)
        self.url = os.ttyname(slave)
        # Not held open here: so that the host's letting go can be seen.
        os.close(slave)
        self._there = False

    def read(self, timeout_us: int) -> bytes | None:
        poll = select.poll()
        poll.register(self._master, select.POLLIN)
        events = poll.poll(timeout_us / 1000)
        if not events:
            self._there = True
            return b""
        if events[0][1] & select.POLLIN:
            with contextlib.suppress(OSError):
                data = os.read(self._master, _CHUNK)
                self._there = True
                return data
        # Hung up: nobody has it open. That shows at once and for as long, so the wait is made here.
        select.select([], [], [], timeout_us / 1e6)
        was, self._there = self._there, False
        return None if was else b""

    def write(self, data: bytes) -> None:
        if self._there:
            with contextlib.suppress(OSError):
                os.write(self._master, data)

    def close(self) -> None:
        with contextlib.suppress(OSError):
            os.close(self._master)
