"""From the records of a trace to the events that the tracker follows.

Ticks become true time by the fitted rate.  What only this side can see is
booked here: chatter, a board that loads the supply or the sensor signal.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from bench.judge.book import Book
from bench.judge.budget import signal_budget
from bench.judge.changes import Debounce
from bench.judge.clock import ClockFit
from bench.judge.events import ButtonMoved, CallMoved, Event, SensorMoved, SupplyMoved
from bench.judge.findings import Finding
from bench.judge.window import Stamp
from bench.trace.records import Edge, Readback, Record, Snapshot, Value, Voltage
from firmware_ref.parameters import Parameters

_ON = ("on", "closed")


def output_channel(name: str) -> str:
    """The channel on which an output is seen: `out.NAME`, or a contact's own name."""
    return name if "." in name else f"out.{name}"


@dataclass(slots=True)
class Feed:
    """Stateful: records in the order written go in, events come out."""

    parameters: Parameters
    clock: ClockFit
    book: Book
    filters: dict[str, Debounce] = field(default_factory=dict)
    edges: dict[str, int] = field(default_factory=dict)
    supplied: bool = False
    overloaded: bool = False
    #: Names of the Modbus sensors that the board asked at least once.
    asked: set[str] = field(default_factory=set)
    _main_closed: bool = False
    _sagged: Stamp | None = None
    _ahead: dict[int, tuple[Value, str]] = field(default_factory=dict)

    @property
    def unasked(self) -> list[str]:
        """The Modbus sensors that the board never asked though it had supply."""
        sensors = self.parameters.sensors if self.supplied and not self.overloaded else ()
        return [s.name for s in sensors if s.modbus is not None and s.name not in self.asked]

    def stamp(self, earliest_us: int, latest_us: int) -> Stamp:
        first, last = self.clock.true_us(earliest_us), self.clock.true_us(latest_us)
        half = (last - first + 1) // 2
        return Stamp(first + half, half)

    def start(self, snapshot: Snapshot) -> dict[str, bool]:
        """The outputs' levels before anything moved."""
        levels = {}
        for output in self.parameters.outputs:
            channel = output_channel(output.name)
            levels[output.name] = snapshot.values.get(channel, "off") in _ON
            self.filters[channel] = Debounce(
                output.name, self.parameters.timing.glitch_us, levels[output.name]
            )
            self.edges[output.name] = 0
        return levels

    def record(self, record: Record) -> list[Event]:
        """The events that a record brings, perhaps none."""
        if isinstance(record, Edge):
            return self._edge(record)
        if isinstance(record, Readback):
            return self._readback(record)
        return []

    def settle(self, now_us: int) -> list[Event]:
        """Changes whose glitch time is over at true time `now_us`."""
        found: list[Event] = []
        for debounce in self.filters.values():
            found += debounce.settle(now_us)
            self._chatter(debounce)
        return found

    def _edge(self, edge: Edge) -> list[Event]:
        on = edge.value in _ON
        debounce = self.filters.get(edge.ch)
        if debounce is None and not edge.ch.startswith("sense."):  # the light's, of which there are many
            return []
        stamp = self.stamp(edge.earliest_us, edge.latest_us)
        if edge.ch == "sense.board":
            self.supplied = self.supplied or on
            return [SupplyMoved(on, stamp)]
        if edge.ch == "sense.main":
            self._source(on, stamp)
        if debounce is None:
            return []
        self.edges[debounce.output] += 1
        changes: list[Event] = list(debounce.edge(on, stamp))
        self._chatter(debounce)
        return changes

    def _chatter(self, debounce: Debounce) -> None:
        self.book.chatter(debounce.output, debounce.bursts)

    def _source(self, on: bool, stamp: Stamp) -> None:
        """The source sags while the board is connected and recovers without it: the board loads it."""
        if not on:
            self._sagged = stamp if self._main_closed else None
        elif self._sagged is not None and not self._main_closed:
            self.book.overload(self._sagged)
            self.overloaded = True
            self._sagged = None

    def _readback(self, readback: Readback) -> list[Event]:
        kind, _, name = readback.ch.partition(".")
        stamp = self.stamp(readback.earliest_us, readback.latest_us)
        if readback.ch == "main" and readback.what == "position":
            self._main_closed = readback.value in _ON
        elif readback.ch == "button" and readback.what == "position":
            return [ButtonMoved(readback.value in _ON, stamp)]
        elif kind == "call" and readback.what == "position" and name in self.parameters.calls:
            return [CallMoved(name, readback.value in _ON, stamp)]
        elif kind == "sensor":
            if readback.what == "position":
                self._ahead[readback.of] = (readback.value, name)
            elif readback.what == "poll":
                self.asked.add(name)
            elif readback.what == "terminal":
                self._loading(readback, name, stamp)
                return [SensorMoved(name, readback.value, stamp)]
        return []

    def _loading(self, readback: Readback, name: str, stamp: Stamp) -> None:
        """The signal behind its series resistor, pulled away from what it is ahead of it."""
        ahead, _ = self._ahead.pop(readback.of, (None, name))
        sensor = next((s for s in self.parameters.sensors if s.name == name), None)
        at_board = readback.value
        if sensor is None or sensor.load_uv is None or not self.supplied:
            return
        if not isinstance(ahead, Voltage) or not isinstance(at_board, Voltage):
            return
        pulled = at_board.value_uv - ahead.value_uv
        bound = ahead.bound_uv + at_board.bound_uv
        if abs(pulled) > sensor.load_uv + bound:
            half_widths = (ahead.bound_uv / 1e6, at_board.bound_uv / 1e6)
            self.book.findings.append(
                Finding(
                    requirement="level", output=None, verdict="fail", kind="not-allowed",
                    at_s=(stamp.mid_us - self.book.zero_us) / 1e6,
                    text=f"unit loads the sensor signal of sensor {name}: pulled by {pulled / 1e6:+.3f} V",
                    measured=pulled / 1e6, limits=(-sensor.load_uv / 1e6, sensor.load_uv / 1e6), bound=bound / 1e6,
                    margin=(sensor.load_uv - abs(pulled)) / 1e6, unit="V", half_widths=half_widths,
                    uncertainty=signal_budget(half_widths).expanded, conformance=0.0,
                )
            )  # fmt: skip
