"""Builds everything the co-simulation is made of: `python -m tests.cosim.build`."""

from __future__ import annotations

import sys

from tests.cosim import toolchain

if __name__ == "__main__":
    lacks = toolchain.missing()
    if lacks:
        sys.exit(f"The co-simulation cannot be built here: {lacks}.")
    toolchain.harness()
    toolchain.fixture_image()
    toolchain.board_image()
