"""`cosim://…`: like `sim://`, with the co-simulation as its peer."""

from __future__ import annotations

from serial import SerialException

from bench.link.handlers import protocol_sim
from tests.cosim import opened


class Serial(protocol_sim.Serial):
    """One open link to the fixture's image."""

    def open(self) -> None:
        if self.is_open:
            raise SerialException("Port is already open.")
        self._buffer = b""
        self._peer = opened.make_peer(str(self.portstr))
        self.is_open = True
