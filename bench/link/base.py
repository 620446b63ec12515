"""What the rooms on either side of a link need of it."""

from __future__ import annotations

from typing import Protocol


class Port(Protocol):
    """A way to the fixture.  Every method raises BenchFault, one sentence, when the way is gone."""

    name: str

    def write(self, data: bytes) -> None:
        """Send all of `data`."""
        ...

    def read(self, timeout_us: int) -> bytes:
        """What has arrived; waits at most `timeout_us` for the first byte, then gives no bytes."""
        ...

    def close(self) -> None:
        """Let go. Never raises; may be called any number of times."""
        ...


class PeerGone(Exception):
    """The peer is not there any more, as when a plug is pulled."""


class Peer(Protocol):
    """The other end of a link in virtual time: bytes in, bytes out, next deadline.

    Virtual time is in us.  `receive`, `advance` and `take` raise PeerGone
    once the peer is unplugged.
    """

    #: How fast time goes: `max`, or a factor as text.
    speed: str

    def now_us(self) -> int:
        """Present virtual time."""
        ...

    def receive(self, data: bytes) -> None:
        """Bytes from the host, at the present virtual time."""
        ...

    def take(self) -> bytes:
        """Bytes for the host that are ready, perhaps none."""
        ...

    def waiting(self) -> bool:
        """Whether the host waits for an answer that only time will bring."""
        ...

    def next_deadline_us(self) -> int | None:
        """The earliest instant at which something may happen by itself; None: never."""
        ...

    def advance(self, to_us: int) -> None:
        """Let time go to `to_us`, or to the first instant at which there are bytes for the host."""
        ...

    def lost(self) -> None:
        """The host let go of the link."""
        ...


class Endpoint(Protocol):
    """The far end of a link that a simulated fixture is served on.  `url`: what a host opens."""

    url: str

    def read(self, timeout_us: int) -> bytes | None:
        """What the host sent; no bytes when the time is over, None once when it let go of the link."""
        ...

    def write(self, data: bytes) -> None:
        """Bytes for the host; lost if there is none."""
        ...

    def close(self) -> None:
        """Let go, as when a plug is pulled. Never raises."""
        ...
