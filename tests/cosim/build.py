"""Builds everything the co-simulation is made of: `python -m tests.cosim.build`."""

from __future__ import annotations

from tests.cosim import toolchain

if __name__ == "__main__":
    toolchain.needed()
    toolchain.harness()
    toolchain.fixture_image()
    toolchain.board_image()
