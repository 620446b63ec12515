"""Each server in turn: the simulated fixture's, and the firmware's where it can be built."""

from __future__ import annotations

import ctypes
from collections.abc import Callable

import pytest

from tests.hardware.fixture.conftest import library as library
from tests.hardware.fixture.library import Firmware
from tests.modbus.servers import FirmwareServer, Server, SimulatedServer


@pytest.fixture(params=["simulated", "firmware"])
def new_server(request: pytest.FixtureRequest) -> Callable[[], Server]:
    if request.param == "simulated":
        return SimulatedServer
    built: ctypes.CDLL = request.getfixturevalue("library")
    return lambda: FirmwareServer(Firmware(built))


@pytest.fixture
def server(new_server: Callable[[], Server]) -> Server:
    return new_server()
