"""A peer that answers each line after a while of virtual time, and can be unplugged."""

from __future__ import annotations

from bench.link.base import PeerGone


class Echo:
    """Answers every byte it gets, `after_us` later."""

    speed = "max"

    def __init__(self, after_us: int = 1_000) -> None:
        self._after_us = after_us
        self._now_us = 0
        self._due: list[tuple[int, bytes]] = []
        self._out = b""
        self.gone = False
        self.let_go = 0

    def now_us(self) -> int:
        return self._now_us

    def receive(self, data: bytes) -> None:
        self._there()
        self._due.append((self._now_us + self._after_us, data))

    def take(self) -> bytes:
        self._there()
        out, self._out = self._out, b""
        return out

    def waiting(self) -> bool:
        return bool(self._due)

    def next_deadline_us(self) -> int | None:
        return self._due[0][0] if self._due else None

    def advance(self, to_us: int) -> None:
        self._there()
        if self._due and self._due[0][0] <= to_us:
            self._now_us, data = self._due.pop(0)
            self._out += data
        else:
            self._now_us = to_us

    def lost(self) -> None:
        self.let_go += 1

    def _there(self) -> None:
        if self.gone:
            raise PeerGone
