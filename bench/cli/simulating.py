"""The simulated fixture with a board in it, as asked for; the only place outside the tests that makes one."""

from __future__ import annotations

from bench.cli.sim import Simulation
from bench.profile import Profile, load, shipped
from bench.simulated.fixture import SimulatedFixture
from bench.simulated.peer import simulated_fixture


def peer_of(asked: Simulation, profile: Profile | None, speed: str = "max") -> SimulatedFixture:
    """The peer for one link.  `profile`: that of the run, taken where the simulation names none.

    Raises UsageError or ProfileError, one sentence.
    """
    if asked.profile is not None:
        profile = load(asked.profile)
    elif profile is None:
        profile = load(shipped()[0])
    return simulated_fixture(
        profile.parameters,
        profile.wiring,
        faults=asked.faults,
        seed=asked.seed,
        draw=asked.draw,
        speed=speed,
    )
