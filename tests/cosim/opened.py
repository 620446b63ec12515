"""`cosim://?profile=NAME&defect=NAME&seed=N`: registered with pyserial the way `sim://` is.

`prepare` may be set by a test: it is given each peer before the host gets it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from urllib.parse import parse_qsl, urlsplit

import serial

from bench.errors import UsageError
from bench.link import serialport  # noqa: F401  # its handlers are to be registered before ours
from bench.profile import load, shipped
from tests.cosim import wiring
from tests.cosim.peer import CosimPeer
from tests.firmware_ref.board.core import defects

HANDLERS = "tests.cosim.handlers"
_KEYS = ("profile", "defect", "seed", "fixture-ppm", "drift-ppm", "nominal")


@dataclass
class Opened:
    """The peer that was made last, and what to do with each new one."""

    peer: CosimPeer | None = None
    prepare: list[Callable[[CosimPeer], None]] = field(default_factory=list)


state = Opened()


def register() -> None:
    """From now on pyserial opens `cosim://` URLs."""
    if HANDLERS not in serial.protocol_handler_packages:
        serial.protocol_handler_packages.append(HANDLERS)


def make_peer(url: str) -> CosimPeer:
    """The circuit that a URL describes, powered up.  Raises UsageError, one sentence."""
    values = dict(parse_qsl(urlsplit(url).query))
    unknown = set(values) - set(_KEYS)
    if unknown:
        raise UsageError(f"{url}: {min(unknown)} is not known; the keys are {', '.join(_KEYS)}")
    if "defect" in values and values["defect"] not in {defect.name for defect in defects()}:
        raise UsageError(f"{url}: the defect {values['defect']} is not in defects.csv")
    profile = load(values.get("profile", shipped()[0]))
    conditions = wiring.Conditions(
        seed=int(values.get("seed", "0")),
        defect=values.get("defect"),
        fixture_ppm=float(values["fixture-ppm"]) if "fixture-ppm" in values else None,
        fixture_drift_ppm_a_minute=float(values.get("drift-ppm", "0")),
        nominal="nominal" in values,
    )
    circuit = wiring.build(profile.parameters, conditions, profile.wiring)
    wiring.start(circuit, profile.parameters)
    peer = CosimPeer(circuit)
    state.peer = peer
    for prepare in state.prepare:
        prepare(peer)
    return peer
