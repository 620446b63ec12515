"""The fixture's controller in virtual time: the SCPI device role over simulated hardware with a board in it.

It is a `bench.link.base.Peer`.  Virtual time is true time in us; the
controller's own ticks come from a resonator that is off.  Not modelled: the
light.
"""

from __future__ import annotations

import random
from collections.abc import Mapping, Sequence

from bench.fixture.channels import ChannelTable
from bench.link.base import PeerGone
from bench.scpi.device import Clockwork, Device
from bench.simulated.commands import Commands
from bench.simulated.faults import Fault
from bench.simulated.flawed import FixtureFlaws
from bench.simulated.hardware import BoardLike, Hardware
from bench.simulated.ring import Ring, packed
from bench.simulated.ticks import Resonator
from firmware_ref.parameters import Parameters

VERSION = "0.1.0"
DEAD_MAN_US = 3_000_000
#: `fixture-reboots` and `unplugged` come this long after the main switch first closed.
_TROUBLE_US = (20_000_000, 60_000_000)
#: A booting controller does not listen.
_BOOT_US = 300_000


class SimulatedFixture:
    """One fixture.  `speed`: `max`, or a factor as text, which it only tells; whoever serves it keeps it."""

    def __init__(
        self,
        board: BoardLike,
        parameters: Parameters,
        wiring: Mapping[str, int],
        table: ChannelTable,
        *,
        seed: int = 0,
        faults: Sequence[Fault] = (),
        speed: str = "max",
        plug: Mapping[int, Sequence[int]] | None = None,
    ) -> None:
        """`faults`: those of kind `fixture`; `plug`: the loop-back plug, if it is in the board's place.

        Raises UsageError for a channel that does not fit.
        """
        chance = random.Random(f"{seed}/fixture")
        self.table = table
        self.speed = speed
        self._flaws = FixtureFlaws.of(faults, wiring, table)
        self._resonator = Resonator(chance)
        # The dead man waits for the host, whose seconds are the computer's.
        self._dead_man_us = round(DEAD_MAN_US * (1 if speed == "max" else max(1.0, float(speed))))
        self._boot = chance.randint(1, 999)
        self._ring = Ring()
        self._now_us = 0
        self._heard_us = 0
        self._deaf_until_us = 0
        self._wait_until_us: int | None = None
        self._trouble_us = (
            chance.randint(*_TROUBLE_US) if self._flaws.reboots or self._flaws.unplugged else None
        )
        self._gone = False
        self._out = b""
        self.hardware = Hardware(board, parameters, wiring, table, self._flaws, chance, self._emit, plug)
        self._device = Device(
            f"mitbench,SIMULATED FIXTURE,seed-{seed},{VERSION}",
            Clockwork(lambda: self._boot, lambda: self._resonator.tick(self._now_us)),
        )
        Commands(self, self._device)
        self._device.power_on()

    # -- Peer ---------------------------------------------------------------------------------

    def now_us(self) -> int:
        return self._now_us

    def receive(self, data: bytes) -> None:
        self._there()
        if self._now_us < self._deaf_until_us:
            return
        self._heard_us = self._now_us
        self._wait_until_us = None
        self._out += self._device.receive(data)

    def take(self) -> bytes:
        self._there()
        out, self._out = self._out, b""
        return out

    def waiting(self) -> bool:
        return self._device.waiting

    def next_deadline_us(self) -> int | None:
        at_us, until_us = self.hardware.next_us(), self._wait_until_us
        if until_us is not None and (at_us is None or until_us < at_us):
            at_us = until_us
        if self.hardware.energised:
            dead_us = max(self._now_us, self._heard_us + self._dead_man_us)
            if at_us is None or dead_us < at_us:
                return dead_us
        return at_us

    def advance(self, to_us: int) -> None:
        self._there()
        hardware, ring = self.hardware, self._ring
        while not self._out and self._now_us < to_us:
            at_us = self.next_deadline_us()
            if at_us is None or at_us > to_us:
                self._now_us = to_us
                return
            self._now_us = max(at_us, self._now_us)
            hardware.run(self._now_us)
            if self._now_us - self._heard_us >= self._dead_man_us and hardware.energised:
                self._device.status.error(-300, "dead man")
                hardware.safe(0, self._now_us)
            self._there()
            until_us = self._wait_until_us
            if until_us is not None and (ring or self._now_us >= until_us):
                self._wait_until_us = None
                self._out += self._device.finish(self.events())

    def lost(self) -> None:
        """The host let go; time goes on until the dead man has opened everything."""
        if not self._gone:
            self._wait_until_us = None
            if self._device.waiting:
                self._device.finish(self.events())
            self._out = b""
            end_us = self._now_us + self._dead_man_us + 200_000
            while self._now_us < end_us:
                self.advance(end_us)
                self._out = b""

    # -- what the commands need ---------------------------------------------------------------

    def wait(self, span_us: int) -> bool:
        """Have the query wait for an event, unless there is one."""
        if self._ring:
            return False
        self._wait_until_us = self._now_us + span_us
        return True

    def events(self) -> str:
        """A block of the oldest events."""
        return self._ring.block(self._resonator.tick(self._now_us), self._boot)

    def everything(self) -> str:
        """What every channel reads, as a block."""
        values = ",".join(self.hardware.value(number) for number in self.table.by_number)
        return packed(f"{self._resonator.tick(self._now_us)},{self._ring.next},{values},")

    def drive(self, number: int, on: bool, reference: int) -> None:
        """Move one relay now; the first closing of the main switch starts the clock of a fault to come."""
        self.hardware.relays.drive(number, on, reference, self._now_us)
        if on and self._trouble_us is not None:
            self.hardware.agenda.at(self._now_us + self._trouble_us, self._trouble)
            self._trouble_us = None

    # -- inside -------------------------------------------------------------------------------

    def _there(self) -> None:
        if self._gone:
            raise PeerGone

    def _emit(
        self, kind: str, number: int, value: str, earliest_us: float, latest_us: float, reference: int
    ) -> int:
        earliest = self._resonator.tick(max(earliest_us, 0.0))
        return self._ring.put(kind, number, value, earliest, self._resonator.not_before(latest_us), reference)

    def _trouble(self, now_us: int) -> None:
        self.hardware.fall(now_us)
        if self._flaws.unplugged:
            self._gone = True
            return
        self._boot += 1
        self._resonator.restart(now_us)
        self._ring.clear()
        self._device.power_on()
        self._wait_until_us = None
        self._deaf_until_us = now_us + _BOOT_US
