"""The board's supply: checked each time it is closed, watched while it should be up.

Source voltage good, close, board-side voltage up within 200 ms; else open at
once.  If the source sagged while closed and recovered after opening, the unit
loads the supply: a finding about the board, which the judge makes from the
trace.  If the source stayed good the switch, the fuse or the wiring is at
fault; if it did not come back, the source.
"""

from __future__ import annotations

from collections.abc import Mapping

from bench.errors import BenchFault
from bench.trace.records import Edge, Value


class UnitLoadsSupply(Exception):
    """The run ends here, complete: the trace shows that the unit loads the supply."""


class Supply:
    """`levels` is what each sense channel reads, kept up to date by the executor."""

    UP_US = 200_000
    #: How long the source may take to recover after opening; ours.
    RECOVERY_US = 1_000_000

    def __init__(self, levels: Mapping[str, str]) -> None:
        self._levels = levels
        self._closed = {"main": False, "board": False}
        self._sagged = False
        self.up = False

    def before(self, ch: str, value: Value) -> None:
        """A channel is about to be moved; raises BenchFault where closing would be wrong."""
        if ch not in self._closed:
            return
        self._closed[ch] = value == "closed"
        if not all(self._closed.values()):
            self.up = False
            return
        self._sagged = False
        if self._levels.get("sense.main") != "on":
            raise BenchFault("the 24 VAC source gives no voltage; check that it is on, and its fuse")

    def closing(self, ch: str, value: Value) -> bool:
        """Whether this move has just connected the board to the source."""
        return ch in self._closed and value == "closed" and all(self._closed.values()) and not self.up

    def edge(self, record: Edge) -> None:
        if record.ch == "sense.main" and record.value == "off" and all(self._closed.values()):
            self._sagged = True

    def gone(self) -> bool:
        """Whether source or board-side supply went away though nothing was opened."""
        return self._levels.get("sense.main") != "on" or self._levels.get("sense.board") != "on"

    def recovered(self) -> bool:
        return self._levels.get("sense.main") == "on" and self._levels.get("sense.board") == "off"

    def verdict(self) -> Exception:
        """After opening: whose fault it is."""
        if self._levels.get("sense.main") != "on":
            return BenchFault("the 24 VAC source went away and did not come back; check source and fuse")
        if self._sagged:
            return UnitLoadsSupply(
                "the unit loads the supply: the source sagged while closed and recovered after"
            )
        return BenchFault(
            "the supply did not reach the board though the source stayed good; check main switch, fuse and wiring"
        )
