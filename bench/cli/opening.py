"""From what the person calls a fixture to a driver that speaks with it."""

from __future__ import annotations

from collections.abc import Mapping

from bench.cli.sim import is_simulated, parse_url
from bench.clock import SystemClock
from bench.errors import BenchFault, UsageError
from bench.fixture.channels import load_channels
from bench.fixture.driver import Fixture
from bench.fixture.identify import identify
from bench.link import peers
from bench.link.serialport import candidates, open_port
from bench.profile import Profile


def open_fixture(url: str, profile: Profile) -> Fixture:
    """The fixture at a URL, wired as the profile says.

    Raises BenchFault if nothing of ours answers there, UsageError for a
    `sim://` URL that asks for what does not exist.
    """
    if is_simulated(url) and parse_url(url).plug:
        raise UsageError(f"{url}: the loop-back plug is in the board's place; leave plug out to test a board")
    return _open(url, profile.wiring, profile.parameters.calls_fed_from, profile)


def open_bare(url: str) -> Fixture:
    """The fixture at a URL with every channel under its own name, whatever board is in it."""
    return _open(url, load_channels().wiring, "bench", None)


def _open(url: str, wiring: Mapping[str, int], fed_from: str, profile: Profile | None) -> Fixture:
    if not url.strip():
        raise UsageError(
            "the fixture's URL is empty; name a serial port, socket://HOST:PORT, or sim:// for a simulated one"
        )
    if is_simulated(url):
        from bench.cli.simulating import peer_of

        parse_url(url)
        peers.register(lambda asked: peer_of(parse_url(asked), profile))
    port = open_port(url)
    try:
        buses = profile.parameters.buses if profile is not None else {}
        return Fixture(port, wiring, load_channels(), SystemClock(), calls_fed_from=fed_from, buses=buses)
    except BaseException:
        port.close()
        raise


def find_fixture() -> str:
    """The port of the one fixture that is plugged in.  Raises BenchFault if there is none, or more than one."""
    found = [(device, name) for device, name in look_around() if name is not None]
    if not found:
        raise BenchFault(
            "no fixture found on the serial ports; plug one in, name its port with --fixture, "
            "or use a simulated one with --fixture sim://"
        )
    if len(found) > 1:
        ports = ", ".join(device for device, _ in found)
        raise BenchFault(f"more than one fixture found ({ports}); name one with --fixture")
    return found[0][0]


def look_around() -> list[tuple[str, str | None]]:
    """Each candidate port with what answers `*IDN?` there as one of ours; None where nothing does."""
    return [(candidate.device, _who(candidate.device)) for candidate in candidates()]


def _who(device: str) -> str | None:
    try:
        port = open_port(device)
    except BenchFault:
        return None
    try:
        maker, model, serial, firmware = identify(port)
    except BenchFault:
        return None
    finally:
        port.close()
    return f"{model} {serial}, firmware {firmware}" if maker.lower().startswith("mitbench") else None
