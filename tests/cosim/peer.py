"""The fixture's UART as a peer of `bench.link`, and the host's clock in the circuit's time."""

from __future__ import annotations

import heapq
from collections.abc import Callable
from itertools import count

from bench.link.base import PeerGone
from tests.cosim.simulator import US, S
from tests.cosim.wiring import Circuit

#: After the host let go, time goes on until the dead man has opened everything.
_AFTER_NS = 4 * S


class CosimPeer:
    """Implements `bench.link.base.Peer`."""

    speed = "max"

    def __init__(self, circuit: Circuit) -> None:
        self.circuit = circuit
        self._sim = circuit.simulator
        self._plans: list[tuple[int, int, Callable[[], object]]] = []
        self._order = count()
        self._gone = False

    def plan(self, at_ns: int, act: Callable[[], object]) -> None:
        """Have something happen to the circuit at a true time."""
        heapq.heappush(self._plans, (at_ns, next(self._order), act))

    def now_us(self) -> int:
        return self._sim.now // US

    def receive(self, data: bytes) -> None:
        self._there()
        self._sim.send(data)

    def take(self) -> bytes:
        self._there()
        return self._sim.take()

    def waiting(self) -> bool:
        return True

    def next_deadline_us(self) -> int | None:
        return self.now_us() + 1

    def advance(self, to_us: int) -> None:
        self._there()
        to_ns = to_us * US
        while self._plans and self._plans[0][0] <= to_ns:
            at_ns = self._plans[0][0]
            if at_ns > self._sim.now:
                self._sim.run(at_ns)
                if self._sim.now < at_ns:
                    return  # the host has something to read first
            heapq.heappop(self._plans)[2]()
            self._there()
        self._sim.run(to_ns)

    def lost(self) -> None:
        self._gone = True
        self._sim.run_for(_AFTER_NS)

    def unplug(self) -> None:
        """The cable is pulled; the fixture keeps its supply."""
        self._gone = True

    def _there(self) -> None:
        if self._gone:
            raise PeerGone
