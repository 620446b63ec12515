"""The fixture's relays: told, moved after their time, read back on a second pole.

Relays bounce, but only the first edge of a move counts and is passed on: the
inputs of boards ride over a few ms, and so does the fixture's read-back.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import Protocol

from bench.fixture.channels import ChannelTable
from bench.simulated.agenda import Agenda
from bench.simulated.flawed import FixtureFlaws
from bench.simulated.mains import LOOK_US

#: Kind of relay -> (operate, release) as (least, most) in us. Relays: at most 10 and 5 ms in data sheets of small
#: power relays; the main switch is made of transistors.
DELAYS_US = {
    "main": ((100, 400), (100, 400)),
    "relay": ((4_000, 9_500), (1_500, 4_800)),
}
#: A position counts once it has been still this long; a relay that does not move is given up on after `_GIVE_UP_US`.
_SETTLE_US = {"main": 1_000, "relay": 5_000}
_GIVE_UP_US = 60_000
#: The second pole may lead or lag the first by this.
_SKEW_US = 300


class Emit(Protocol):
    """Puts a record into the ring; times are true, the answer is its sequence number."""

    def __call__(
        self, kind: str, number: int, value: str, earliest_us: float, latest_us: float, reference: int
    ) -> int: ...


@dataclass(slots=True)
class _Relay:
    """`told`: the coil.  `closed`: the contact.  `seq`: its last APPL.

    `turn` counts what the coil was told, `asked` what was asked for, also what
    is still to come, `pulse` what ends a pulse.
    """

    kind: str
    told: bool = False
    closed: bool = False
    seq: int = 0
    turn: int = 0
    asked: int = 0
    pulse: int = 0
    driven_us: int = 0


class Relays:
    """`before(number, on, reference, at)` is called when a move is asked for and gives how long it is put off, in us.

    `driven(number, seq, at)` follows when the coil was told, `moved(at)` when
    contacts moved.
    """

    def __init__(
        self,
        table: ChannelTable,
        main: int,
        agenda: Agenda,
        chance: random.Random,
        flaws: FixtureFlaws,
        emit: Emit,
        *,
        before: Callable[[int, bool, int, int], int],
        driven: Callable[[int, int, int], None],
        moved: Callable[[int], None],
    ) -> None:
        self._agenda = agenda
        self._chance = chance
        self._flaws = flaws
        self._emit = emit
        self._before = before
        self._driven = driven
        self._moved = moved
        self._relays = {
            c.number: _Relay("main" if c.number == main else "relay", closed=c.number in flaws.stuck_relays)
            for c in table.by_number.values()
            if c.moved and c.kind != "sensor"
        }

    def __contains__(self, number: int) -> bool:
        return number in self._relays

    def told(self, number: int) -> bool:
        """Whether a relay is driven closed."""
        return self._relays[number].told

    def closed(self, number: int) -> bool:
        """Where its contacts are."""
        return self._relays[number].closed

    def seq(self, number: int) -> int:
        """Sequence number of its last APPL, 0 before the first."""
        return self._relays[number].seq

    def any_told(self) -> bool:
        return any(r.told for r in self._relays.values())

    # -- commands -----------------------------------------------------------------------------

    def drive(self, number: int, on: bool, reference: int, now_us: int) -> None:
        """Bring a relay to a position."""
        self._relays[number].pulse += 1
        self._bring(number, on, reference, now_us)

    def pulse(self, number: int, span_us: int, times: int, gap_us: int, reference: int, now_us: int) -> None:
        """Change a relay's position for a span, so many times, with gaps between; any other command ends it."""
        relay = self._relays[number]
        relay.pulse += 1
        rest = relay.told
        for n in range(times):
            start_us = now_us + n * (span_us + gap_us)
            for on, at_us in ((not rest, start_us), (rest, start_us + span_us)):
                self._agenda.at(at_us, partial(self._pulse_step, number, on, reference, relay.pulse))

    def open_all(self, reference: int, now_us: int) -> None:
        """Open what is told closed; what was still to come does not."""
        for number, relay in self._relays.items():
            relay.asked += 1
            relay.pulse += 1
            if relay.told:
                self._drive(number, False, reference, now_us)

    def fall(self) -> None:
        """The controller is gone: its pull resistors open everything, and nobody records it."""
        for number, relay in self._relays.items():
            relay.told, relay.seq = False, 0
            relay.turn += 1
            relay.asked += 1
            relay.pulse += 1
            relay.closed = number in self._flaws.stuck_relays

    # -- inside -------------------------------------------------------------------------------

    def _pulse_step(self, number: int, on: bool, reference: int, pulse: int, now_us: int) -> None:
        if self._relays[number].pulse == pulse:
            self._bring(number, on, reference, now_us)

    def _bring(self, number: int, on: bool, reference: int, now_us: int) -> None:
        relay = self._relays[number]
        relay.asked += 1
        later_us = self._before(number, on, reference, now_us)
        if later_us:
            self._agenda.at(now_us + later_us, partial(self._drive_later, number, on, reference, relay.asked))
        else:
            self._drive(number, on, reference, now_us)

    def _drive_later(self, number: int, on: bool, reference: int, asked: int, now_us: int) -> None:
        if self._relays[number].asked == asked:
            self._drive(number, on, reference, now_us)

    def _drive(self, number: int, on: bool, reference: int, now_us: int) -> None:
        relay = self._relays[number]
        relay.told = on
        relay.turn += 1
        relay.driven_us = now_us
        relay.seq = self._emit("APPL", number, "1" if on else "0", now_us, now_us, reference)
        broken = number in (self._flaws.dead_relays if on else self._flaws.stuck_relays)
        if relay.closed is on:
            self._read_back(number, relay.turn, now_us, now_us)
        elif broken:
            self._agenda.at(now_us + _GIVE_UP_US, partial(self._read_back, number, relay.turn, now_us))
        else:
            operate, release = DELAYS_US[relay.kind]
            delay_us = self._chance.randint(*(operate if on else release))
            self._agenda.at(now_us + delay_us, partial(self._move, number, relay.turn))
        self._driven(number, relay.seq, now_us)

    def _move(self, number: int, turn: int, now_us: int) -> None:
        relay = self._relays[number]
        if relay.turn != turn:
            return
        relay.closed = relay.told
        self._moved(now_us)
        self._agenda.at(now_us + _SETTLE_US[relay.kind], partial(self._read_back, number, turn, now_us))

    def _read_back(self, number: int, turn: int, moved_us: int, now_us: int) -> None:
        relay = self._relays[number]
        if relay.turn != turn:
            return
        earliest_us = latest_us = now_us
        if relay.closed is relay.told and now_us > moved_us:
            seen_us = moved_us + self._chance.randint(-_SKEW_US, _SKEW_US)
            earliest_us = max(relay.driven_us, seen_us - _SKEW_US - LOOK_US)
            latest_us = seen_us + _SKEW_US
        self._emit("POS", number, "1" if relay.closed else "0", earliest_us, latest_us, relay.seq)
