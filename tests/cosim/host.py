"""A plain host at the fixture's UART, for tests that look at the image itself: lines out, lines in, events."""

from __future__ import annotations

from bench.fixture.events import Event, Stream, Ticks
from bench.profile import load
from tests.cosim import wiring
from tests.cosim.simulator import MS, US
from tests.cosim.wiring import Circuit, Conditions

PROFILE = "invented-split-furnace"


class Host:
    """Both images in their circuit, started, and a host that asks without a guard."""

    def __init__(self, conditions: Conditions, profile: str = PROFILE, boot_ns: int = 400 * MS) -> None:
        self.profile = load(profile)
        self.circuit: Circuit = wiring.build(self.profile.parameters, conditions, self.profile.wiring)
        self.sim = self.circuit.simulator
        wiring.start(self.circuit, self.profile.parameters)
        self.stream = Stream(Ticks())
        self.stream.next = 1
        if boot_ns:
            self.sim.run_for(boot_ns)
            self.sim.take()

    def ask(self, message: str, patience_ns: int = 800 * MS) -> str:
        """The answer to a message that has one."""
        self.sim.send(message.encode() + b"\n")
        end, heard = self.sim.now + patience_ns, b""
        while not heard.endswith(b"\n"):
            assert self.sim.now < end, f"no answer to {message}"
            self.sim.run(end)
            heard += self.sim.take()
        return heard.decode().rstrip("\r\n")

    def tell(self, message: str) -> None:
        """Carry out a message that has no answer; raises if it brought an error."""
        assert self.ask(f"{message};*OPC?") == "1"

    def events(self, wait_ms: int = 0) -> list[Event]:
        """One block of events, as the driver reads it.  Raises BenchFault on a gap, damage or an overrun."""
        return self.stream.read(self.ask(f"FETC:EVEN? {wait_ms}"))

    def all_events(self) -> list[Event]:
        """What is in the ring now."""
        found: list[Event] = []
        while some := self.events():
            found += some
        return found

    def energised(self) -> list[str]:
        """Names of the fixture's relays that are closed."""
        return [
            name
            for name, pole in self.circuit.poles.items()
            if not name.startswith("board:") and not name.endswith("/rest") and self.sim.pole_closed(pole)
        ]

    def drives(self) -> dict[int, str]:
        """Nets of the fixture's drivers."""
        return {net: name for name, net in self.circuit.nets.items() if name.endswith("/drive")}

    def clock(self) -> tuple[float, float]:
        """(tick in us, true time in us) at about one instant: of the reply's last byte."""
        tick = int(self.ask("SYST:TICK?"))
        return tick, self.sim.now / US
