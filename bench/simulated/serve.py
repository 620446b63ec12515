"""A simulated fixture served on a port, so that a host in another process finds it as it would a real one.

At speed N its time goes N times as fast as the computer's.  At speed `max`
it moves only while the host's event query waits; when the host lets go, it
moves on until the dead man has opened everything.
"""

from __future__ import annotations

from collections.abc import Callable

from bench.clock import Clock
from bench.link.base import Endpoint, Peer, PeerGone

#: How long to look for bytes at a time, so that a request to stop is soon heard.
_LOOK_US = 50_000
#: A query waits no longer than this; time goes no further in one go.
_STRIDE_US = 1_000_000


def serve(endpoint: Endpoint, peer: Peer, clock: Clock, stop: Callable[[], bool]) -> None:
    """Serve until `stop()` or until the fixture is unplugged; closes the endpoint."""
    step = _at_once if peer.speed == "max" else _Paced(peer, clock).step
    try:
        while not stop():
            step(endpoint, peer)
            out = peer.take()
            if out:
                endpoint.write(out)
    except PeerGone:
        return
    finally:
        endpoint.close()


def _at_once(endpoint: Endpoint, peer: Peer) -> None:
    data = endpoint.read(0 if peer.waiting() else _LOOK_US)
    if data is None:
        peer.lost()
    elif data:
        peer.receive(data)
    elif peer.waiting():
        peer.advance(peer.now_us() + _STRIDE_US)


class _Paced:
    """Virtual time tied to the computer's."""

    def __init__(self, peer: Peer, clock: Clock) -> None:
        self._clock = clock
        self._factor = float(peer.speed)
        self._real_us = clock.now_us()
        self._virtual_us = peer.now_us()

    def _due_us(self) -> int:
        return self._virtual_us + round((self._clock.now_us() - self._real_us) * self._factor)

    def step(self, endpoint: Endpoint, peer: Peer) -> None:
        deadline_us = peer.next_deadline_us()
        wait_us = float(_LOOK_US)
        if deadline_us is not None:
            wait_us = min(wait_us, max(0.0, (deadline_us - self._due_us()) / self._factor))
        data = endpoint.read(round(wait_us))
        to_us = self._due_us()
        while peer.now_us() < to_us:
            peer.advance(to_us)
            out = peer.take()
            if out:
                endpoint.write(out)
        if data:
            peer.receive(data)
