"""What a run needs of a bench: the contract between the executor and whatever moves the channels.

`bench.fixture.driver.Fixture` is the real one; the dry run has its own.  All
times are fixture ticks in us, widened past 32 bits.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

from bench.trace.records import Clock, Record, Snapshot, Value


@dataclass(frozen=True, slots=True)
class Identity:
    """Who the fixture says it is.  `speed`: None real, else `max` or a factor as text."""

    maker: str
    model: str
    serial: str
    firmware: str
    simulated: bool = False
    speed: str | None = None

    @property
    def factor(self) -> float:
        """How many times as fast as a clock its time goes; 1 at `max`, where that means nothing."""
        return 1.0 if self.speed in (None, "max") else float(self.speed)

    def as_json(self) -> dict[str, str]:
        """Its four fields of `*IDN?`, for a trace or a calibration record."""
        return {
            "maker": self.maker,
            "model": self.model,
            "serial": self.serial,
            "firmware": self.firmware,
        }


class Bench(Protocol):
    """Applies stimuli, reads each back, time-stamps what it does and sees.

    Every method raises `bench.errors.BenchFault` when the bench cannot be
    trusted: no answer, a read-back other than commanded, a gap in the events,
    a boot nobody asked for.
    """

    identity: Identity

    def start(self) -> Snapshot:
        """Bring everything into the safe state and read what every wired channel says."""
        ...

    def apply(self, ch: str, value: Value) -> int:
        """Move one channel (`call.Y` on, `main` closed, `sensor.1` a Voltage); returns the command's identity.

        `Applied` and `Readback` come back through `poll`.
        """
        ...

    def pulse(self, ch: str, span_us: int, count: int = 1, gap_us: int = 0) -> int:
        """Move a channel for `span_us` and back, `count` times with `gap_us` between, timed by the bench itself.

        Returns at once, with the command's identity; each move comes back
        through `poll` as `Applied` and `Readback`.
        """
        ...

    def poll(self, wait_us: int) -> list[Record]:
        """Events since the last poll; waits at most `wait_us` of fixture time for the first."""
        ...

    def now_us(self) -> int:
        """The fixture's tick of the last answer."""
        ...

    def sample_clock(self) -> Clock:
        """One look at the fixture's and the host's clock."""
        ...

    def safe(self) -> None:
        """Open everything. Never raises; may be called at any time, any number of times."""
        ...

    def close(self) -> None:
        """`safe`, then let go of the port."""
        ...
