"""`sim://…`: a peer in the same process behind pyserial's interface; reading moves virtual time instead of sleeping."""

from __future__ import annotations

from typing import Any

from serial import PortNotOpenError, SerialBase, SerialException

from bench.link.base import Peer, PeerGone
from bench.link.peers import make_peer


class Serial(SerialBase):
    """One open link to a peer made for its URL."""

    _peer: Peer | None = None
    _timeout: float | None

    def open(self) -> None:
        if self.is_open:
            raise SerialException("Port is already open.")
        self._buffer = b""
        self._peer = make_peer(str(self.portstr))
        self.is_open = True

    def close(self) -> None:
        if self.is_open:
            self.is_open = False
            if self._peer is not None:
                self._peer.lost()

    def _reconfigure_port(self, force_update: bool = False) -> None:
        """A peer has no baud rate."""

    def _there(self) -> Peer:
        if not self.is_open or self._peer is None:
            raise PortNotOpenError()
        return self._peer

    @property
    def in_waiting(self) -> int:
        """Bytes that can be read without waiting."""
        peer = self._there()
        if not self._buffer:
            self._buffer = peer.take()
        return len(self._buffer)

    def read(self, size: int = 1) -> bytes:
        peer = self._there()
        if self._timeout is None:
            raise SerialException("a read from a peer needs a timeout")
        try:
            buffer = self._buffer
            if len(buffer) < size:
                buffer += peer.take()
                end_us = peer.now_us() + int(self._timeout * 1e6)
                while len(buffer) < size and peer.now_us() < end_us:
                    peer.advance(end_us)
                    buffer += peer.take()
        except PeerGone as gone:
            raise SerialException("device disconnected") from gone
        self._buffer = buffer[size:]
        return buffer[:size]

    def write(self, b: Any, /) -> int:
        data = bytes(b)
        try:
            self._there().receive(data)
        except PeerGone as gone:
            raise SerialException("device disconnected") from gone
        return len(data)

    def flush(self) -> None:
        """Nothing lies between here and the peer."""

    def reset_input_buffer(self) -> None:
        self._there().take()
        self._buffer = b""

    def reset_output_buffer(self) -> None:
        """Nothing lies between here and the peer."""
