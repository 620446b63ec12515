"""The fixture's hardware in true time: relays, supply, inputs, with a board between them.

Event-driven: nothing is looked at while nothing changes.  What happens goes
out through `emit`, in true time; the controller puts ticks on it.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Mapping, Sequence
from functools import partial
from typing import Protocol

from bench.fixture.channels import ChannelTable
from bench.simulated.agenda import Agenda
from bench.simulated.board import TerminalChange
from bench.simulated.bus import Bus
from bench.simulated.flawed import FixtureFlaws
from bench.simulated.mains import LOOK_US, AcInput, ContactInput, Direct, Mains
from bench.simulated.relays import Emit, Relays
from bench.simulated.signal import Signal
from firmware_ref.parameters import Parameters

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
    @property
    def feeds_back(self) -> frozenset[str]: ...
    def supply(self, on: bool, at_us: int) -> None: ...
    def call(self, name: str, on: bool, at_us: int) -> None: ...
    def sensor(self, name: str, signal: str | int, at_us: int) -> None: ...
    def button(self, closed: bool, at_us: int) -> None: ...
    def connect(self, send: Callable[[str, bytes, int], None]) -> None: ...
    def heard(self, name: str, data: bytes, at_us: int) -> None: ...
    def advance(self, to_us: int) -> Sequence[TerminalChange]: ...
    def next_change_us(self) -> int | None: ...
    def terminals(self) -> dict[str, bool]: ...


class Hardware:
    """`wiring`: name -> channel number of the board's terminals.

    `plug`: relay -> inputs that the loop-back plug joins to it, in the place
    of the board and on DC; None: no plug.
    """

    def __init__(
        self,
        board: BoardLike,
        parameters: Parameters,
        wiring: Mapping[str, int],
        table: ChannelTable,
        flaws: FixtureFlaws,
        chance: random.Random,
        emit: Emit,
        plug: Mapping[int, Sequence[int]] | None = None,
    ) -> None:
        self.agenda = Agenda()
        self._board = board
        self._board_us = board.next_change_us()
        self._table = table
        self._flaws = flaws
        self._out = emit
        self._energised: bool | None = None
        self._plug = plug
        self._bench_feeds = parameters.calls_fed_from == "bench"
        volts, phase_us = chance.uniform(23.0, 25.5), chance.uniform(0, 10_000)
        self.mains: Mains | Direct = (
            Mains(parameters.frequency_hz, volts, phase_us)
            if plug is None
            else Direct(parameters.frequency_hz, volts)
        )
        self._sags = False
        self._powered = False
        self._cuts = 0
        self._fed: set[int] = set()
        self._fed_back: frozenset[str] = frozenset()
        by_name = {name: c.number for name, c in table.by_name.items()} | dict(wiring)
        self._main, self._switch = by_name["main"], by_name["board"]
        self._senses = {k: by_name[f"sense.{k}"] for k in ("main", "board", "r-out")}
        self._button, self._pressed = by_name["button"], False
        self._calls = {by_name[f"call.{c}"]: c for c in parameters.calls}
        self._call_relays = [c.number for c in table.by_number.values() if c.kind == "call"]
        self._outputs = {o.name: by_name[_terminal(o.name)] for o in parameters.outputs}
        if parameters.light is not None:
            self._outputs["light"] = by_name["light"]
        self.relays = Relays(
            table, self._main, self.agenda, chance, flaws, self._emit,
            before=self._before, driven=self._driven, moved=self._rewire,
        )  # fmt: skip
        self._voltage_of: dict[int, int] = {}  # call -> APPL after which its voltage was reported
        closed = {self._outputs[name] for name, on in board.terminals().items() if on}
        self._inputs: dict[int, AcInput | ContactInput] = {}
        for c in table.by_number.values():
            if c.kind in ("sense", "output", "call"):
                self._inputs[c.number] = AcInput(self.mains, on=c.number == self._senses["main"])
            elif not c.moved:
                self._inputs[c.number] = ContactInput(on=c.number in closed)
        sensors = {by_name[f"sensor.{t}"]: t for s in parameters.sensors for t in s.terminals}
        self.signals = {
            c.number: Signal(c.number, self.agenda, chance, self._emit, flaws.signal_drift, self._to_board(sensors.get(c.number)))
            for c in table.by_number.values()
            if c.kind == "sensor"
        }  # fmt: skip
        self.buses = {
            c.number: Bus(c.number, self.agenda, self._emit, partial(self._to_client, sensors.get(c.number)))
            for c in table.by_number.values()
            if c.kind == "bus"
        }
        self._sensors: dict[int, Signal | Bus] = {**self.signals, **self.buses}
        for number in flaws.busy_buses:
            self.buses[number].jam()
        wired = {name: number for number, name in sensors.items()}
        if parameters.buses:
            board.connect(lambda name, data, at_us: self.buses[wired[name]].heard(data, at_us))
        self._rewire(0)

    # -- commands -----------------------------------------------------------------------------

    def signal(self, number: int, value: str | int, reference: int, now_us: int) -> None:
        """Bring a sensor terminal to a state (`OPEN`, `SHOR`, `NORM`, `LEAK`) or a voltage in uV; a bus likewise."""
        signal = self._sensors[number]
        signal.parked = None
        signal.drive(value, reference, now_us)

    def safe(self, reference: int, now_us: int) -> None:
        """Everything that is not open already."""
        self.relays.open_all(reference, now_us)
        for signal in self._sensors.values():
            signal.parked = None
            if signal.told != "OPEN":
                signal.drive("OPEN", reference, now_us)

    def fall(self, now_us: int) -> None:
        """The controller is gone: its pull resistors open everything, and nobody records it."""
        self.relays.fall()
        for signal in self._sensors.values():
            signal.fall(now_us)
        self._energised = None
        self._rewire(now_us)

    @property
    def energised(self) -> bool:
        """Whether anything is closed or connected: what the dead man opens."""
        if self._energised is None:
            self._energised = self.relays.any_told() or any(s.told != "OPEN" for s in self._sensors.values())
        return self._energised

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

    def value(self, number: int) -> str:
        """What a channel reads now, as on the wire."""
        if number in self._sensors:
            return self._sensors[number].reading()
        if number in self.relays:
            return "1" if self.relays.closed(number) else "0"
        return "1" if self._reads(number) else "0"

    def volts(self, number: int) -> float:
        """Volts rms at a sensed terminal."""
        return self.mains.volts_rms if self._reads(number) else 0.0

    def _reads(self, number: int) -> bool:
        if number in self._flaws.dead_inputs:
            return False
        return number in self._flaws.stuck_inputs or self._inputs[number].shown

    # -- supply, feed and sensors -------------------------------------------------------------

    def _before(self, number: int, on: bool, reference: int, now_us: int) -> int:
        """A switch that ends a long cut of the supply lets the sensors go first; one that begins a cut is noted."""
        other = {self._main: self._switch, self._switch: self._main}.get(number)
        if other is None or not self.relays.told(other) or self.relays.told(number) is on:
            return 0
        if on:
            return _LEAD_US if self._put_back(reference, now_us) else 0
        self._cuts += 1
        self.agenda.at(now_us + _CUT_US, partial(self._take_off, reference, self._cuts))
        return 0

    def _driven(self, number: int, seq: int, now_us: int) -> None:
        if self._table.by_number[number].kind == "call":
            self.agenda.at(now_us + _VOLTAGE_US, partial(self._report_voltage, number, seq))

    def _report_voltage(self, number: int, seq: int, now_us: int) -> None:
        if self.relays.seq(number) == seq and self._voltage_of.get(number) != seq:
            value = "1" if self._reads(number) else "0"
            self._emit("VOLT", number, value, now_us - LOOK_US, now_us, seq)

    def _take_off(self, reference: int, cut: int, now_us: int) -> None:
        """The supply has been off for as long as a sensor may stay connected."""
        if cut != self._cuts or (self.relays.told(self._main) and self.relays.told(self._switch)):
            return
        for signal in self._sensors.values():
            if signal.told != "OPEN" and signal.driven_us <= now_us - _CUT_US:
                signal.parked = signal.told
                signal.drive("OPEN", reference, now_us)

    def _put_back(self, reference: int, now_us: int) -> bool:
        """Connect what was taken off; whether there was anything."""
        parked = [s for s in self._sensors.values() if s.parked is not None]
        for signal in parked:
            value, signal.parked = signal.parked, None
            assert value is not None
            signal.drive(value, reference, now_us)
        return bool(parked)

    def _to_client(self, name: str | None, data: bytes, now_us: int) -> None:
        if name is not None:
            self._board.heard(name, data, now_us)
            self._follow_board(now_us)

    def _rewire(self, now_us: int) -> None:
        """A contact or the source changed: who has voltage now?"""
        main = self.relays.closed(self._main) or self._flaws.main_shorted
        switch = self.relays.closed(self._switch)
        source = not self._sags
        if (main and switch) is not self._powered:
            self._powered = main and switch
            self._board.supply(self._powered, now_us)
            self._weigh(now_us)
        powered = self._powered and source
        self._sense(self._senses["main"], source, now_us)
        self._sense(self._senses["board"], powered, now_us)
        feed = (main and source) if self._bench_feeds else powered
        for number in self._call_relays:
            on = feed and self.relays.closed(number)
            if on is not (number in self._fed):
                self._fed.symmetric_difference_update({number})
                if number in self._calls:
                    self._board.call(self._calls[number], on, now_us)
                self._sense_call(number, now_us)
        if self._plug is None:
            self._sense(self._senses["r-out"], powered, now_us)
            if self.relays.closed(self._button) is not self._pressed:
                self._pressed = not self._pressed
                self._board.button(self._pressed, now_us)
        else:
            self._loop_back(powered, feed, now_us)
        self._follow_board(now_us)

    def _loop_back(self, powered: bool, feed: bool, now_us: int) -> None:
        """Each relay's terminal goes to the inputs that the plug joins to it."""
        assert self._plug is not None
        live: dict[int, bool] = {}
        for number, inputs in self._plug.items():
            kind = self._table.by_number[number].kind
            fed = {"switch": powered, "button": True}.get(kind, feed)
            for joined in inputs:
                live[joined] = live.get(joined, False) or (fed and self.relays.closed(number))
        for joined, on in live.items():
            self._sense(joined, on, now_us)

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
        back = self._board.feeds_back
        if back != self._fed_back:
            self._fed_back = back
            for number in self._calls:
                self._sense_call(number, now_us)
        self._board_us = self._board.next_change_us()

    def _sense_call(self, number: int, now_us: int) -> None:
        """The voltage at the board's side of a call: through its relay, or out of the board."""
        self._sense(number, number in self._fed or self._calls.get(number) in self._fed_back, now_us)

    def _sense(self, number: int, on: bool, now_us: int) -> None:
        number = self._flaws.swapped_inputs.get(number, number)
        one = self._inputs[number]
        if one.on is not on:
            one.put(on, now_us)
            self._look(number, now_us)

    def _look(self, number: int, now_us: int) -> None:
        """Report what is seen by now, and come back when more will be."""
        one = self._inputs[number]
        while (seen := one.fire(now_us)) is not None:
            value = "1" if seen.on else "0"
            if number in self.relays:
                self._voltage_of[number] = seq = self.relays.seq(number)
                self._emit("VOLT", number, value, seen.earliest_us, seen.latest_us, seq)
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
