"""The board's supply: checked each time it is closed, watched while it should be up and while it should be away.

Source voltage good, close, board-side voltage up within 200 ms; else open at
once.  If the source sagged while closed and recovered after opening, the unit
loads the supply: a finding about the board, which the judge makes from the
trace.  If the source stayed good the switch, the fuse or the wiring is at
fault; if it did not come back, the source.

The main switch reads back at its gates, where a shorted transistor does not
show: that the supply is away while it reads open is seen at the board alone.
A board cannot look like that, however much energy it stores: what is sensed
is 24 VAC at its terminal, and no capacitor gives AC back.
"""

from __future__ import annotations

from collections.abc import Mapping

from bench.errors import BenchFault
from bench.trace.records import Applied, Edge, Readback, Value


class UnitLoadsSupply(Exception):
    """The run ends here, complete: the trace shows that the unit loads the supply."""


class Supply:
    """`levels` is what each sense channel reads, kept up to date by the executor."""

    UP_US = 200_000
    #: How long the source may take to recover after opening; ours.
    RECOVERY_US = 1_000_000
    #: The board's supply reads off so long after the main switch read open, or the switch is shorted.  Off is known
    #: some 11 ms after the last pulse and told 15 ms later; coils that let go ring for less than the rest.
    AWAY_US = 200_000
    #: Before the main switch closes so much must do, or a cut of 50 ms could not be looked at; also after R-BOARD closed.
    SETTLED_US = 50_000

    def __init__(self, levels: Mapping[str, str]) -> None:
        self._levels = levels
        self._closed = {"main": False, "board": False}
        self._sagged = False
        #: Each switch as it was last read back, and when.
        self._read: dict[str, tuple[str, int]] = {"main": ("open", 0)}
        self._strays = 0
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
        if record.ch == "sense.board" and record.value == "on":
            value, since_us = self._read.get("main", ("", 0))
            self._strays += value == "open" and record.earliest_us - since_us >= self.SETTLED_US

    def switch(self, record: Applied | Readback) -> None:
        """A switch was moved, or read back."""
        if record.ch not in self._closed:
            return
        self._read.pop(record.ch, None)
        self._strays = 0
        if isinstance(record, Readback) and isinstance(record.value, str):
            self._read[record.ch] = record.value, record.latest_us

    def unsettled_us(self, now_us: int) -> int:
        """How long to wait, before the main switch closes, until it shows at the board whether it keeps the supply away."""
        value, since_us = self._read.get("board", ("", 0))
        return max(0, since_us + self.SETTLED_US - now_us) if value == "closed" else 0

    def leaks(self) -> bool:
        """Whether the board's supply came by itself, and again: what half a shorted switch, one of its two transistors, lets through."""
        return self._strays >= 2

    def stays(self, now_us: int, settled_us: int = AWAY_US) -> bool:
        """Whether the board has supply though the main switch has read open for so long."""
        value, since_us = self._read.get("main", ("", 0))
        return value == "open" and now_us - since_us >= settled_us and self._levels.get("sense.board") == "on"

    @staticmethod
    def shorted() -> BenchFault:
        """What to say then."""
        return BenchFault(
            "the board has supply though the main switch reads open: the switch is shorted, or the input sense.board "
            "is stuck; pull the source's plug and run `mitbench fixture check`"
        )

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
