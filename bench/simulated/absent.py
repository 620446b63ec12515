"""No board in the fixture, as when the loop-back plug is in its place."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from bench.simulated.board import TerminalChange


class NoBoard:
    """Nothing that could do anything.  Implements `bench.simulated.hardware.BoardLike`."""

    drops_supply = False
    feeds_back: frozenset[str] = frozenset()

    def supply(self, on: bool, at_us: int) -> None: ...

    def call(self, name: str, on: bool, at_us: int) -> None: ...

    def sensor(self, name: str, signal: str | int, at_us: int) -> None: ...

    def button(self, closed: bool, at_us: int) -> None: ...

    def connect(self, send: Callable[[str, bytes, int], None]) -> None: ...

    def heard(self, name: str, data: bytes, at_us: int) -> None: ...

    def advance(self, to_us: int) -> Sequence[TerminalChange]:
        return ()

    def next_change_us(self) -> int | None:
        return None

    def terminals(self) -> dict[str, bool]:
        return {}
