"""The fixture's hardware in true time: relays, supply, inputs, with a board between them.

Event-driven: nothing is looked at while nothing changes.  What happens goes
out through `emit`, in true time; the controller puts ticks on it.  Bounce of
the fixture's own relays is not passed on to the board (inputs of boards ride
over a few ms); the position read-back counts their first edge.
"""

from __future__ import annotations

import random
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Protocol

from bench.fixture.channels import ChannelTable
from bench.simulated.agenda import Agenda
from bench.simulated.board import TerminalChange
from bench.simulated.flawed import FixtureFlaws
from bench.simulated.mains import LOOK_US, AcInput, ContactInput, Mains
from bench.simulated.signal import Signal
from firmware_ref.parameters import Parameters

#: Kind of relay -> (operate, release) as (least, most) in us. Relays: at most 10 and 5 ms in data sheets of small
#: power relays; the main switch is made of transistors.
_DELAYS_US = {
    "main": ((100, 400), (100, 400)),
    "relay": ((4_000, 9_500), (1_500, 4_800)),
}
#: A position counts once it has been still this long; a relay that does not move is given up on after `_GIVE_UP_US`.
_SETTLE_US = 5_000
_GIVE_UP_US = 60_000
#: The second pole may lead or lag the first by this.
_SKEW_US = 300
#: Voltage at a call is reported this long after its relay was driven, if it was not before.
_VOLTAGE_US = 60_000
#: An overloaded source collapses, and recovers when it is relieved.
_SAG_US = 3_000
_RECOVER_US = 50_000
#: A sensor stays connected through cuts shorter than this, and comes back this long before the supply.
_CUT_US = 1_000_000
_LEAD_US = 20_000


class BoardLike(Protocol):
    """What the hardware needs of a board (`bench.simulated.board.Board`)."""

    @property
    def drops_supply(self) -> bool: ...
    def supply(self, on: bool, at_us: int) -> None: ...
    def call(self, name: str, on: bool, at_us: int) -> None: ...
    def sensor(self, name: str, signal: str | int, at_us: int) -> None: ...
    def advance(self, to_us: int) -> Sequence[TerminalChange]: ...
    def next_change_us(self) -> int | None: ...


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

    told: bool = False
    closed: bool = False
    seq: int = 0
    turn: int = 0
    asked: int = 0
    pulse: int = 0
    driven_us: int = 0
    voltage_seq: int = 0


class Hardware:
    """`wiring`: name -> channel number of the board's terminals."""

    def __init__(
        self,
        board: BoardLike,
        parameters: Parameters,
        wiring: Mapping[str, int],
        table: ChannelTable,
        flaws: FixtureFlaws,
        chance: random.Random,
        emit: Emit,
    ) -> None:
        self.agenda = Agenda()
        self._board = board
        self._board_us = board.next_change_us()
        self._table = table
        self._flaws = flaws
        self._chance = chance
        self._out = emit
        self._energised: bool | None = None
        self._bench_feeds = parameters.calls_fed_from == "bench"
        self.mains = Mains(parameters.frequency_hz, chance.uniform(23.0, 25.5), chance.uniform(0, 10_000))
        self._sags = False
        self._powered = False
        self._cuts = 0
        self._fed: set[int] = set()
        by_name = {name: c.number for name, c in table.by_name.items()} | dict(wiring)
        self._main, self._switch = by_name["main"], by_name["board"]
        self._senses = {k: by_name[f"sense.{k}"] for k in ("main", "board", "r-out")}
        self._calls = {by_name[f"call.{c}"]: c for c in parameters.calls}
        self._outputs = {o.name: by_name[_terminal(o.name)] for o in parameters.outputs}
        self._relays = {
            c.number: _Relay(closed=c.number in flaws.stuck_relays)
            for c in table.by_number.values()
            if c.moved and c.kind != "sensor"
        }
        rest = {self._outputs[o.name]: o.kind == "contact-nc" for o in parameters.outputs}
        self._inputs: dict[int, AcInput | ContactInput] = {}
        for c in table.by_number.values():
            if c.kind in ("sense", "output", "call"):
                self._inputs[c.number] = AcInput(self.mains, on=c.number == self._senses["main"])
            elif not c.moved:
                self._inputs[c.number] = ContactInput(on=rest.get(c.number, False))
        sensors = {by_name[f"sensor.{s.name}"]: s.name for s in parameters.sensors}
        self.signals = {
            c.number: Signal(c.number, self.agenda, chance, self._emit, flaws.signal_drift, self._to_board(sensors.get(c.number)))
            for c in table.by_number.values()
            if c.kind == "sensor"
        }  # fmt: skip
        self._rewire(0)

    # -- commands -----------------------------------------------------------------------------

    def drive(self, number: int, on: bool, reference: int, now_us: int) -> None:
        """Bring a relay to a position; a switch that would end a long cut lets the sensors go first."""
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
                self.agenda.at(at_us, partial(self._pulse_step, number, on, reference, relay.pulse))

    def _pulse_step(self, number: int, on: bool, reference: int, pulse: int, now_us: int) -> None:
        if self._relays[number].pulse == pulse:
            self._bring(number, on, reference, now_us)

    def _bring(self, number: int, on: bool, reference: int, now_us: int) -> None:
        relay = self._relays[number]
        relay.asked += 1
        if on and self._would_power(number) and self._put_back(reference, now_us):
            self.agenda.at(now_us + _LEAD_US, partial(self._drive_later, number, reference, relay.asked))
            return
        if not on and number in (self._main, self._switch) and self._supply_told():
            self._cuts += 1
            self.agenda.at(now_us + _CUT_US, partial(self._take_off, reference, self._cuts))
        self._drive(number, on, reference, now_us)

    def signal(self, number: int, value: str | int, reference: int, now_us: int) -> None:
        """Bring a sensor terminal to a state (`OPEN`, `SHOR`, `NORM`, `LEAK`) or a voltage in uV."""
        signal = self.signals[number]
        signal.parked = None
        signal.drive(value, reference, now_us)

    def safe(self, reference: int, now_us: int) -> None:
        """Everything that is not open already."""
        for number, relay in self._relays.items():
            relay.asked += 1
            relay.pulse += 1
            if relay.told:
                self._drive(number, False, reference, now_us)
        for signal in self.signals.values():
            signal.parked = None
            if signal.told != "OPEN":
                signal.drive("OPEN", reference, now_us)

    def fall(self, now_us: int) -> None:
        """The controller is gone: its pull resistors open everything, and nobody records it."""
        for number, relay in self._relays.items():
            relay.told, relay.seq = False, 0
            relay.turn += 1
            relay.asked += 1
            relay.pulse += 1
            if relay.closed and number not in self._flaws.stuck_relays:
                relay.closed = False
        for signal in self.signals.values():
            signal.fall(now_us)
        self._energised = None
        self._rewire(now_us)

    @property
    def energised(self) -> bool:
        """Whether anything is closed or connected: what the dead man opens."""
        return any(r.told for r in self._relays.values()) or any(
            s.told != "OPEN" for s in self.signals.values()
        )

    # -- time ---------------------------------------------------------------------------------

    def next_us(self) -> int | None:
        """The next instant at which something may happen."""
        noted, board = self.agenda.next_us(), self._board_us
        if noted is None or (board is not None and board < noted):
            return board
        return noted

    def run(self, now_us: int) -> None:
        """Everything that is due by now."""
        if self._board_us is not None and self._board_us <= now_us:
            self._follow_board(now_us)
        self.agenda.run(now_us)

    def _emit(
        self, kind: str, number: int, value: str, earliest_us: float, latest_us: float, reference: int
    ) -> int:
        if kind == "APPL":
            self._energised = None
        return self._out(kind, number, value, earliest_us, latest_us, reference)

    # -- readings -----------------------------------------------------------------------------

    def position(self, number: int) -> bool:
        return self._relays[number].closed

    def told(self, number: int) -> bool:
        """Whether a relay is driven closed."""
        return self._relays[number].told

    def value(self, number: int) -> str:
        """What a channel reads now, as on the wire."""
        if number in self.signals:
            return self.signals[number].reading()
        if number in self._relays:
            return "1" if self._relays[number].closed else "0"
        return "1" if self._reads(number) else "0"

    def volts(self, number: int) -> float:
        """Volts rms at a sensed terminal."""
        return self.mains.volts_rms if self._reads(number) else 0.0

    def _reads(self, number: int) -> bool:
        if number in self._flaws.dead_inputs:
            return False
        return number in self._flaws.stuck_inputs or self._inputs[number].shown

    # -- relays -------------------------------------------------------------------------------

    def _supply_told(self) -> bool:
        return self._relays[self._main].told and self._relays[self._switch].told

    def _drive_later(self, number: int, reference: int, asked: int, now_us: int) -> None:
        if self._relays[number].asked == asked:
            self._drive(number, True, reference, now_us)

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
            self.agenda.at(now_us + _GIVE_UP_US, partial(self._read_back, number, relay.turn, now_us))
        else:
            operate, release = _DELAYS_US["main" if number == self._main else "relay"]
            delay = self._chance.randint(*(operate if on else release))
            self.agenda.at(now_us + delay, partial(self._move, number, relay.turn))
        if self._table.by_number[number].kind == "call":
            self.agenda.at(now_us + _VOLTAGE_US, partial(self._report_voltage, number, relay.seq))

    def _move(self, number: int, turn: int, now_us: int) -> None:
        relay = self._relays[number]
        if relay.turn != turn:
            return
        relay.closed = relay.told
        self._rewire(now_us)
        settle = 1_000 if number == self._main else _SETTLE_US
        self.agenda.at(now_us + settle, partial(self._read_back, number, turn, now_us))

    def _read_back(self, number: int, turn: int, moved_us: int, now_us: int) -> None:
        relay = self._relays[number]
        if relay.turn != turn:
            return
        if relay.closed is relay.told and now_us > moved_us:
            seen_us = moved_us + self._chance.randint(-_SKEW_US, _SKEW_US)
            earliest = max(relay.driven_us, seen_us - _SKEW_US - LOOK_US)
            latest = seen_us + _SKEW_US
        else:
            earliest = latest = now_us
        self._emit("POS", number, "1" if relay.closed else "0", earliest, latest, relay.seq)

    def _report_voltage(self, number: int, seq: int, now_us: int) -> None:
        relay = self._relays[number]
        if relay.seq == seq and relay.voltage_seq != seq:
            value = "1" if self._reads(number) else "0"
            self._emit("VOLT", number, value, now_us - LOOK_US, now_us, seq)

    # -- supply, feed and sensors -------------------------------------------------------------

    def _would_power(self, number: int) -> bool:
        other = {self._main: self._switch, self._switch: self._main}.get(number)
        return other is not None and self._relays[other].told and not self._relays[number].told

    def _take_off(self, reference: int, cut: int, now_us: int) -> None:
        """The supply has been off for as long as a sensor may stay connected."""
        if cut != self._cuts or self._supply_told():
            return
        for signal in self.signals.values():
            if signal.told != "OPEN" and signal.driven_us <= now_us - _CUT_US:
                signal.parked = signal.told
                signal.drive("OPEN", reference, now_us)

    def _put_back(self, reference: int, now_us: int) -> bool:
        """Connect what was taken off; whether there was anything."""
        parked = [s for s in self.signals.values() if s.parked is not None]
        for signal in parked:
            value, signal.parked = signal.parked, None
            assert value is not None
            signal.drive(value, reference, now_us)
        return bool(parked)

    def _rewire(self, now_us: int) -> None:
        """A contact or the source changed: who has voltage now?"""
        main, switch = self._relays[self._main].closed, self._relays[self._switch].closed
        source = not self._sags
        if (main and switch) is not self._powered:
            self._powered = main and switch
            self._board.supply(self._powered, now_us)
            self._weigh(now_us)
        powered = self._powered and source
        self._sense(self._senses["main"], source, now_us)
        self._sense(self._senses["board"], powered, now_us)
        self._sense(self._senses["r-out"], powered, now_us)
        feed = (main and source) if self._bench_feeds else powered
        for number, relay in self._relays.items():
            if self._table.by_number[number].kind != "call":
                continue
            on = feed and relay.closed
            if on is not (number in self._fed):
                self._fed.symmetric_difference_update({number})
                if number in self._calls:
                    self._board.call(self._calls[number], on, now_us)
                self._sense(number, on, now_us)
        self._follow_board(now_us)

    def _weigh(self, now_us: int) -> None:
        """Does the board pull the source down, or has it let go of it?"""
        if self._board.drops_supply:
            self.agenda.at(now_us + _SAG_US, partial(self._sag, True))
        elif self._sags:
            self.agenda.at(now_us + _RECOVER_US, partial(self._sag, False))

    def _sag(self, sags: bool, now_us: int) -> None:
        if self._board.drops_supply is sags:
            self._sags = sags
            self._rewire(now_us)

    # -- inputs -------------------------------------------------------------------------------

    def _follow_board(self, now_us: int) -> None:
        for change in self._board.advance(now_us):
            self._sense(self._outputs[change.name], change.on, change.at_us)
        self._board_us = self._board.next_change_us()

    def _sense(self, number: int, on: bool, now_us: int) -> None:
        one = self._inputs[number]
        if one.on is not on:
            one.put(on, now_us)
            self._look(number, now_us)

    def _look(self, number: int, now_us: int) -> None:
        """Report what is seen by now, and come back when more will be."""
        one = self._inputs[number]
        while (seen := one.fire(now_us)) is not None:
            value = "1" if seen.on else "0"
            if number in self._relays:
                relay = self._relays[number]
                relay.voltage_seq = relay.seq
                self._emit("VOLT", number, value, seen.earliest_us, seen.latest_us, relay.seq)
            elif number not in self._flaws.dead_inputs and number not in self._flaws.stuck_inputs:
                self._emit("EDGE", number, value, seen.earliest_us, seen.latest_us, 0)
        due = one.due_us()
        if due is not None:
            self.agenda.at(due, partial(self._look, number))

    def _to_board(self, name: str | None) -> SensorSink:
        def put(signal: str | int, now_us: int) -> None:
            if name is not None:
                self._board.sensor(name, signal, now_us)
                self._follow_board(now_us)

        return put


class SensorSink(Protocol):
    """Where a sensor terminal's signal goes."""

    def __call__(self, signal: str | int, now_us: int) -> None: ...


def _terminal(output: str) -> str:
    """The channel on which an output is seen: a contact's own name, else `out.NAME`."""
    return output if "." in output else f"out.{output}"
