"""The simulated fixture with a board in it, as asked for; the only place outside the tests that makes one."""

from __future__ import annotations

from bench.cli.sim import Simulation
from bench.cli.stopping import StopSwitch
from bench.clock import SystemClock
from bench.errors import UsageError
from bench.link.base import Endpoint
from bench.profile import Profile, load, shipped
from bench.report.cautions import SIMULATED
from bench.simulated.fixture import SimulatedFixture
from bench.simulated.peer import simulated_fixture
from bench.simulated.serve import serve as serve_on


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
        plug=asked.plug,
    )


def serve(asked: Simulation, speed: str, tcp_port: int | None) -> None:
    """Serves a simulated fixture until the person stops it; on a pseudo-terminal where no TCP port is named.

    The first line printed names what to give to `--fixture`.
    """
    peer = peer_of(asked, None, _speed(speed))
    endpoint = _endpoint(tcp_port)
    with StopSwitch() as stop:
        print(f"Simulated fixture ({SIMULATED}) at {endpoint.url} until Ctrl-C.", flush=True)
        serve_on(endpoint, peer, SystemClock(), stop)
    print("Everything is open." if not peer.hardware.energised else "Something is still energised.")


def _speed(text: str) -> str:
    """`max`, or a factor above 0 as text."""
    if text == "max":
        return text
    try:
        factor = float(text)
    except ValueError:
        factor = 0.0
    if not 0.0 < factor < float("inf"):
        raise UsageError(f"--speed {text}: write a number above 0, or max")
    return text


def _endpoint(tcp_port: int | None) -> Endpoint:
    if tcp_port is not None:
        from bench.link.tcp import TcpEndpoint

        return TcpEndpoint(tcp_port)
    try:
        from bench.link.pty import PtyEndpoint
    except ImportError:
        raise UsageError("--pty: this system has no pseudo-terminals; write --tcp PORT") from None
    return PtyEndpoint()
