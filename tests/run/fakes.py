"""Stand-ins for a bench: a nominal board on a bench that does one thing wrong."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from bench.errors import BenchFault
from bench.profile.model import Profile
from bench.run.nominal import NominalBench
from bench.trace.records import Clock, Edge, Readback, Record, Snapshot, Value
from firmware_ref.parameters import Parameters


def profile_of(parameters: Parameters, data: Mapping[str, Any] | None = None) -> Profile:
    """A profile made of parameters alone."""
    return Profile(parameters.name, dict(data or {}), "0" * 64, parameters, {}, "test")


class FakeBench(NominalBench):
    """A good bench that remembers what was done; `safe_calls` counts the times it opened everything."""

    def __init__(self, parameters: Parameters) -> None:
        super().__init__(parameters)
        self.safe_calls = 0
        self.applied: list[tuple[str, Value, int]] = []
        self.longest_wait_us = 0

    def apply(self, ch: str, value: Value) -> int:
        self.applied.append((ch, value, self.now_us()))
        return super().apply(ch, value)

    def poll(self, wait_us: int) -> list[Record]:
        self.longest_wait_us = max(self.longest_wait_us, wait_us)
        return super().poll(wait_us)

    def safe(self) -> None:
        self.safe_calls += 1


class Overloaded(FakeBench):
    """The board draws so much that the source sags while it is connected."""

    recovers = True

    def apply(self, ch: str, value: Value) -> int:
        loaded = all(self._switches.values())
        identity = FakeBench.apply(self, ch, value)
        if all(self._switches.values()):
            self._edge("sense.board", "off")
            self._edge("sense.main", "off")
        elif loaded and self.recovers:
            self._edge("sense.main", "on")
        return identity


class Broken(Overloaded):
    """The source itself goes away when it is loaded."""

    recovers = False


class BlownFuse(FakeBench):
    """The source stays good and nothing reaches the board."""

    def _edge(self, ch: str, value: str) -> None:
        if ch != "sense.board":
            super()._edge(ch, value)


class FuseBlowsLater(FakeBench):
    """The board-side supply goes away after a while, the source stays."""

    blows_at_us = 20_000_000

    def poll(self, wait_us: int) -> list[Record]:
        records = super().poll(wait_us)
        if self.now_us() > self.blows_at_us:
            self.blows_at_us = 10**12
            records.append(Edge(self._next(), "sense.board", "off", self.now_us(), self.now_us()))
        return records


class MainShorted(FakeBench):
    """The main switch reads open and passes the supply on all the same: from the start, or once it has carried it."""

    def __init__(self, parameters: Parameters, *, later: bool = False) -> None:
        super().__init__(parameters)
        self.later = later

    @property
    def _powered(self) -> bool:
        return self._switches["board"] and (self._switches["main"] or not self.later)

    def apply(self, ch: str, value: Value) -> int:
        identity = super().apply(ch, value)
        self.later = self.later and not super()._powered
        return identity


class HalfShorted(FakeBench):
    """One transistor of the main switch is shorted: once R-BOARD is closed the board gets every other half cycle."""

    half_us = 8_333

    def poll(self, wait_us: int) -> list[Record]:
        if not self._switches["board"] or self._switches["main"]:
            return super().poll(wait_us)
        records = super().poll(min(wait_us, self.half_us))
        if not records:
            self._edge("sense.board", "on" if self._seq % 2 else "off")
        return records


class LateOff(FakeBench):
    """What the board's terminal still rings with reads as supply for a while after each opening."""

    rings_us = 100_000

    def __init__(self, parameters: Parameters) -> None:
        super().__init__(parameters)
        self.held: list[Edge] = []

    def _edge(self, ch: str, value: str) -> None:
        if (ch, value) == ("sense.board", "off"):
            at_us = self.now_us() + self.rings_us
            self.held.append(Edge(self._next(), ch, value, at_us, at_us))
            return
        if ch == "sense.board":
            self.held.clear()  # the supply is back before it read off
        super()._edge(ch, value)

    def poll(self, wait_us: int) -> list[Record]:
        records = super().poll(min(wait_us, 10_000))
        told = [e for e in self.held if e.latest_us <= self.now_us()]
        self.held = [e for e in self.held if e not in told]
        return [*records, *told]


class NoReadback(FakeBench):
    """One channel is moved and never read back."""

    def __init__(self, parameters: Parameters, ch: str = "call.W", what: str = "position") -> None:
        super().__init__(parameters)
        self.mute = (ch, what)

    def poll(self, wait_us: int) -> list[Record]:
        return [
            r for r in super().poll(wait_us) if not (isinstance(r, Readback) and (r.ch, r.what) == self.mute)
        ]


class FastClock(FakeBench):
    """The fixture's clock is faster than the host's by `ppm`."""

    def __init__(self, parameters: Parameters, ppm: int) -> None:
        super().__init__(parameters)
        self.ppm = ppm

    def sample_clock(self) -> Clock:
        host_us = round(self.now_us() / (1 + self.ppm / 1e6))
        return Clock(self.now_us(), host_us - 50, host_us + 50)


class Raises(FakeBench):
    """Something comes out of the bench at a given time."""

    def __init__(self, parameters: Parameters, error: BaseException, at_us: int = 30_000_000) -> None:
        super().__init__(parameters)
        self.error, self.at_us = error, at_us

    def poll(self, wait_us: int) -> list[Record]:
        if self.now_us() >= self.at_us:
            raise self.error
        return super().poll(wait_us)


class Unplugged(Raises):
    """The port goes away, and stays away for every later question."""

    def __init__(self, parameters: Parameters) -> None:
        super().__init__(parameters, BenchFault("the fixture was unplugged"))

    def now_us(self) -> int:
        if super().now_us() >= self.at_us:
            raise self.error
        return super().now_us()


class OddSnapshot(FakeBench):
    """Reads other than the safe state before anything was moved."""

    def __init__(self, parameters: Parameters, ch: str, value: str | None) -> None:
        super().__init__(parameters)
        self.odd = (ch, value)

    def start(self) -> Snapshot:
        snapshot = super().start()
        values = {**snapshot.values, self.odd[0]: self.odd[1]}
        return Snapshot(0, {ch: v for ch, v in values.items() if v is not None})
