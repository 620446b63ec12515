"""Ports that are simulated fixtures, for the commands that look around."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from bench.cli import opening
from bench.cli.sim import parse_url
from bench.cli.simulating import peer_of
from bench.link import peers
from bench.link.serialport import Candidate


@pytest.fixture
def plugged_in(monkeypatch: pytest.MonkeyPatch) -> Callable[..., None]:
    """Has exactly these ports found on this computer; a `sim://` one answers as a fixture."""

    def plug_in(*ports: str) -> None:
        peers.register(lambda url: peer_of(parse_url(url), None))
        monkeypatch.setattr(opening, "candidates", lambda: [Candidate(p, "a port", None) for p in ports])

    return plug_in
