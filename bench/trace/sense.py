"""Whether the records of a stored trace can be what a run of ours left.

A trace is evidence: what could not have happened is refused, never judged.
Numbers and keys of one record are checked where it is read (`bench.trace.file`);
this looks at channels, their values, and at time.
"""

from __future__ import annotations

from collections.abc import Iterable

from bench.trace import calibration
from bench.trace.records import (
    Applied,
    Clock,
    Edge,
    End,
    Header,
    Note,
    Readback,
    Record,
    Snapshot,
    Value,
    Voltage,
)

#: Later than a run can last (31 years); a tick beyond it is damage.
LATEST_US = 10**15
#: Records are written within this of their order in time: an AC edge is told late, a read-back waits for its signal.
DISORDER_US = 1_000_000

_LEVELS = frozenset({"on", "off"})
_CONTACTS = frozenset({"open", "closed"})
_SIGNALS = frozenset(
    {"open", "short", "normal", "leak", "silent", "bad-crc", "exception", "fault", "end-of-life"}
)
#: Every value that is a word.
WORDS = _LEVELS | _CONTACTS | _SIGNALS
#: First part of a channel's name: the values it can have, and whether the fixture moves it.
_KINDS: dict[str, tuple[frozenset[str], bool]] = {
    "call": (_LEVELS, True),
    "out": (_LEVELS, False),
    "sense": (_LEVELS, False),
    "light": (_LEVELS, False),
    "alarm": (_CONTACTS, False),
    "main": (_CONTACTS, True),
    "board": (_CONTACTS, True),
    "button": (_CONTACTS, True),
    "sensor": (_SIGNALS, True),
}


def nonsense(header: Header, records: Iterable[Record]) -> str | None:
    """What cannot be in these records, in one sentence; None if nothing is wrong."""
    wrong = _calibration(header)
    if wrong is not None:
        return wrong
    latest = 0
    for record in records:
        wrong = _channel(header, record) if isinstance(record, (Applied, Readback, Edge)) else None
        if wrong is None and isinstance(record, Snapshot):
            wrong = next((w for ch, v in record.values.items() if (w := _value(ch, v, "the snapshot"))), None)
        if wrong is not None:
            return wrong
        for tick in _ticks(record):
            if not 0 <= tick <= LATEST_US:
                return f"a {type(record).__name__.lower()} has the tick {tick}; no run comes to that"
            if not isinstance(record, (Clock, End, Note)) and tick < latest - DISORDER_US:
                return f"time goes back from {latest} to {tick} us; lines are out of order or changed"
            latest = max(latest, tick) if not isinstance(record, End) else latest
    return None


def _calibration(header: Header) -> str | None:
    if not header.calibration:
        return None
    try:
        found = calibration.from_json(header.calibration)
    except ValueError as wrong:
        return f"the calibration record in the header {wrong}"
    serial = header.fixture.get("serial")
    if found.fixture["serial"] != serial:
        return f"the calibration record in the header is of the fixture {found.fixture['serial']}, not of {serial}"
    return None


def _ticks(record: Record) -> tuple[int, ...]:
    if isinstance(record, (Applied, Readback, Edge)):
        return record.earliest_us, record.latest_us
    return () if isinstance(record, Header) else (record.tick_us,)


def _channel(header: Header, record: Applied | Readback | Edge) -> str | None:
    if header.wiring and record.ch not in header.wiring:
        return f"seq {record.seq}: {record.ch} is not in the wiring of this trace"
    return _value(record.ch, record.value, f"seq {record.seq}", edge=isinstance(record, Edge))


def _value(ch: str, value: Value, where: str, edge: bool = False) -> str | None:
    known = _KINDS.get(ch.partition(".")[0])
    if known is None:
        return f"{where}: {ch} is no channel; names begin with one of {', '.join(_KINDS)}"
    values, by_fixture = known
    if edge and by_fixture:
        return f"{where}: {ch} is moved by the fixture and has no edge of its own"
    if isinstance(value, Voltage):
        fits, wrong = values is _SIGNALS, "has a voltage"
    else:
        fits, wrong = value in values, f"cannot be {value}"
    return None if fits else f"{where}: {ch} {wrong}; write one of {', '.join(sorted(values))}"
