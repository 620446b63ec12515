"""The records of one run, in memory.

A trace is one JSON object a line (`bench.trace.file` writes and reads them;
`bench/trace/FORMAT.md` is the format for people).  Times are fixture ticks in
integer microseconds, widened past the 32-bit wrap, and count from the
fixture's own zero.  An event is known to lie in [earliest_us, latest_us].

Channel names: `call.Y`, `out.Y`, `sensor.1`, `alarm.no`, `main`, `board`,
`sense.main` (the source, ahead of the main switch), `sense.board` (supply at
the board's terminals), `sense.r-out`.

Values: calls, outputs and senses `on`/`off`; contacts and switches
`open`/`closed`; sensors `open`, `short`, `normal`, `leak`, or a voltage as
integer `value_uv` with `bound_uv`; Modbus sensors `silent`, `bad-crc`,
`exception`, `fault`, `end-of-life`, or the `count` of the concentration.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Union


@dataclass(frozen=True, slots=True)
class Voltage:
    """A sensor signal at the board's terminal: value and bound in uV."""

    value_uv: int
    bound_uv: int


@dataclass(frozen=True, slots=True)
class Count(Voltage):
    """The concentration register of a Modbus sensor: `value_uv` is its count, which is exact (`bound_uv` 0).

    It stands wherever a signal's number may stand; `firmware_ref.parameters.Sensor`
    has its levels in the same unit.
    """

    bound_uv: int = 0


Value = Union[str, Voltage]


@dataclass(frozen=True, slots=True)
class Header:
    """First record.  `clock` is `fitted` or `exact` (hand-written traces).

    `calibration`: the fixture's calibration record (`bench.trace.calibration`), empty where it has none.
    """

    profile: Mapping[str, Any]
    profile_sha256: str
    wiring: Mapping[str, int]
    simulated: bool = False
    speed: str | None = None
    clock: str = "fitted"
    created: str = ""
    mitbench: str = ""
    procedure: Mapping[str, Any] = field(default_factory=dict)
    dry_run: Mapping[str, Any] = field(default_factory=dict)
    fixture: Mapping[str, Any] = field(default_factory=dict)
    unit_under_test: str | None = None
    operator: str | None = None
    calibration: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Snapshot:
    """What every channel read before anything was moved: the safe state."""

    tick_us: int
    values: Mapping[str, Value]


@dataclass(frozen=True, slots=True)
class Applied:
    """The fixture was told to move a channel and did.  `id`: identity of the command."""

    seq: int
    id: int
    ch: str
    value: Value
    earliest_us: int
    latest_us: int


@dataclass(frozen=True, slots=True)
class Readback:
    """What the fixture read of what it moved; `of` is the `seq` of the `Applied` (of voltage at a
    call that was not moved yet: its own).

    `what`: `position` (contacts of the relay, or the signal ahead of its
    series resistor), `voltage` (the call at the board's side), `terminal`
    (the sensor signal behind its series resistor: the level that is judged),
    `poll` (the first poll of the board that met the state of a Modbus sensor).
    """

    seq: int
    of: int
    ch: str
    value: Value
    earliest_us: int
    latest_us: int
    what: str = "position"
    ramp_us: int = 0


@dataclass(frozen=True, slots=True)
class Edge:
    """A channel that the board or the source moves changed to `value`."""

    seq: int
    ch: str
    value: str
    earliest_us: int
    latest_us: int


@dataclass(frozen=True, slots=True)
class Clock:
    """One look at both clocks: the tick was read between the two host instants."""

    tick_us: int
    host_before_us: int
    host_after_us: int


@dataclass(frozen=True, slots=True)
class Note:
    """A sentence for the reader; `tick_us` is where in the run it was written."""

    tick_us: int
    text: str


@dataclass(frozen=True, slots=True)
class End:
    """Last record.  `reason`: `complete`, `stopped`, `bench-fault`; `text` says why."""

    tick_us: int
    reason: str
    text: str = ""


Record = Union[Header, Snapshot, Applied, Readback, Edge, Clock, Note, End]


@dataclass(frozen=True, slots=True)
class Trace:
    """A closed trace: header first, then the other records in the order written."""

    header: Header
    records: tuple[Record, ...]

    @property
    def snapshot(self) -> Snapshot | None:
        return next((r for r in self.records if isinstance(r, Snapshot)), None)

    @property
    def end(self) -> End | None:
        last = self.records[-1] if self.records else None
        return last if isinstance(last, End) else None
