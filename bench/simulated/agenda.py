"""What will happen when: the events of a simulation in order of time."""

from __future__ import annotations

import heapq
from collections.abc import Callable


class Agenda:
    """Things to do, each at its instant in us; of equal instants the one noted first comes first."""

    def __init__(self) -> None:
        self._entries: list[tuple[int, int, Callable[[int], None]]] = []
        self._count = 0

    def at(self, at_us: int, act: Callable[[int], None]) -> None:
        """Call `act(at_us)` at that instant."""
        self._count += 1
        heapq.heappush(self._entries, (at_us, self._count, act))

    def next_us(self) -> int | None:
        return self._entries[0][0] if self._entries else None

    def run(self, now_us: int) -> None:
        """Everything that is due by now."""
        while self._entries and self._entries[0][0] <= now_us:
            at_us, _, act = heapq.heappop(self._entries)
            act(at_us)
