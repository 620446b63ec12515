"""A TCP port of this computer on which one host at a time finds a fixture, as `socket://127.0.0.1:PORT`."""

from __future__ import annotations

import contextlib
import select
import socket

from bench.errors import BenchFault

_CHUNK = 65_536


class TcpEndpoint:
    """Listens on `port` (0: one that is free) of the loop-back address.  Implements `bench.link.base.Endpoint`."""

    def __init__(self, port: int) -> None:
        try:
            self._listener = socket.create_server(("127.0.0.1", port), backlog=1)
        except OSError as wrong:
            raise BenchFault(f"TCP port {port} cannot be had ({wrong.strerror}); name another one") from wrong
        self._host: socket.socket | None = None
        self.url = f"socket://127.0.0.1:{self._listener.getsockname()[1]}"

    def read(self, timeout_us: int) -> bytes | None:
        source = self._host or self._listener
        if not select.select([source], [], [], timeout_us / 1e6)[0]:
            return b""
        if self._host is None:
            self._host, _ = self._listener.accept()
            # Replies are single small writes: held back for more to come they would cost 40 ms each.
            self._host.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            return b""
        try:
            data = self._host.recv(_CHUNK)
        except OSError:
            data = b""
        if data:
            return data
        self._host.close()
        self._host = None
        return None

    def write(self, data: bytes) -> None:
        if self._host is not None:
            # A host that went away shows at the next read.
            with contextlib.suppress(OSError):
                self._host.sendall(data)

    def close(self) -> None:
        for one in (self._host, self._listener):
            if one is not None:
                one.close()
