"""Traces on disk: one JSON object a line, appended and flushed as it happens.

`FORMAT.md` beside this file is the format for people.  A file that was cut
off in its last line (a killed run) is read without that line; damage anywhere
else is a `TraceError` that names file and line.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import MISSING, fields
from pathlib import Path
from typing import Any

from bench.errors import TraceError
from bench.trace.records import (
    Applied,
    Clock,
    Count,
    Edge,
    End,
    Header,
    Note,
    Readback,
    Record,
    Snapshot,
    Trace,
    Value,
    Voltage,
)
from bench.trace.sense import WORDS, nonsense

FORMAT = "mitbench-trace-1"

_TYPES: dict[str, type] = {
    "header": Header,
    "snapshot": Snapshot,
    "applied": Applied,
    "readback": Readback,
    "edge": Edge,
    "clock": Clock,
    "note": Note,
    "end": End,
}
_NAMES = {cls: name for name, cls in _TYPES.items()}
#: Keys whose text is one of a few.
_CHOICES = {
    "clock": ("fitted", "exact"),
    "what": ("position", "voltage", "terminal", "poll"),
    "reason": ("complete", "stopped", "bench-fault"),
}


def to_json(record: Record) -> dict[str, Any]:
    """The record as a plain object, `type` first, fields at their default left out."""
    plain: dict[str, Any] = {"type": _NAMES[type(record)]}
    if isinstance(record, Header):
        plain["format"] = FORMAT
    for f in fields(record):
        value = getattr(record, f.name)
        default = f.default_factory() if f.default_factory is not MISSING else f.default
        if value == default:
            continue
        if isinstance(value, Voltage):
            plain.update(_value_to_json(value))
        elif f.name == "values":
            plain["values"] = {ch: _value_to_json(v) for ch, v in value.items()}
        else:
            plain[f.name] = dict(value) if isinstance(value, Mapping) else value
    return plain


def _value_to_json(value: Value) -> Any:
    if isinstance(value, Count):
        return {"count": value.value_uv}
    return {"value_uv": value.value_uv, "bound_uv": value.bound_uv} if isinstance(value, Voltage) else value


def from_json(plain: Mapping[str, Any]) -> Record:
    """The record that a plain object stands for.

    Raises ValueError with one sentence that names the key.
    """
    kind = plain.get("type")
    if not isinstance(kind, str) or kind not in _TYPES:
        raise ValueError(f"type: {kind!r} is no record type; write one of {', '.join(_TYPES)}")
    cls = _TYPES[kind]
    given = {k: v for k, v in plain.items() if k != "type"}
    if cls is Header:
        if given.pop("format", None) != FORMAT:
            raise ValueError(f"format: this is not a {FORMAT} file")
    elif "value_uv" in given:
        given["value"] = _voltage(given.pop("value_uv"), given.pop("bound_uv", None))
    elif "count" in given:
        given["value"] = _count(given.pop("count"))
    known = {f.name: f for f in fields(cls)}
    for key in given:
        if key not in known:
            raise ValueError(f"{key}: a {kind} has no such key; it has {', '.join(known)}")
    for name, f in known.items():
        if name not in given and f.default is MISSING and f.default_factory is MISSING:
            raise ValueError(f"{name}: missing in this {kind}")
    for key, value in given.items():
        given[key] = _checked(key, value, str(known[key].type))
    for key, choices in _CHOICES.items():
        if key in given and given[key] not in choices:
            raise ValueError(f"{key}: {given[key]!r} is not known; write one of {', '.join(choices)}")
    if given.get("latest_us", 0) < given.get("earliest_us", 0):
        raise ValueError("latest_us: lies before earliest_us; an event is known to lie between the two")
    return cls(**given)


def _checked(key: str, value: Any, declared: str) -> Any:
    if key == "values":
        if not isinstance(value, Mapping):
            raise ValueError("values: must be an object, channel name to value")
        return {ch: _value(f"values.{ch}", v) for ch, v in value.items()}
    if key == "value":
        return _value(key, value)
    if declared == "int":
        if isinstance(value, bool) or not isinstance(value, int):
            raise ValueError(f"{key}: must be a whole number (got {value!r})")
    elif declared == "bool":
        if not isinstance(value, bool):
            raise ValueError(f"{key}: must be true or false (got {value!r})")
    elif declared.startswith("Mapping"):
        if not isinstance(value, Mapping):
            raise ValueError(f"{key}: must be an object (got {value!r})")
    elif not isinstance(value, str) and not (value is None and "None" in declared):
        raise ValueError(f"{key}: must be a text (got {value!r})")
    return value


def _value(key: str, value: Any) -> Value:
    if isinstance(value, Voltage):
        return value
    if isinstance(value, Mapping) and set(value) == {"value_uv", "bound_uv"}:
        return _voltage(value["value_uv"], value["bound_uv"])
    if isinstance(value, Mapping) and set(value) == {"count"}:
        return _count(value["count"])
    if isinstance(value, str) and value in WORDS:
        return value
    raise ValueError(
        f"{key}: {value!r} is no value; write one of {', '.join(sorted(WORDS))}, value_uv or count"
    )


def _count(count: Any) -> Count:
    if isinstance(count, bool) or not isinstance(count, int) or not 0 <= count <= 0xFFFE:
        raise ValueError(
            f"count: must be a whole number from 0 to 65534, as a register holds (got {count!r})"
        )
    return Count(count)


def _voltage(value_uv: Any, bound_uv: Any) -> Voltage:
    for key, number in (("value_uv", value_uv), ("bound_uv", bound_uv)):
        if isinstance(number, bool) or not isinstance(number, int):
            raise ValueError(f"{key}: must be a whole number of microvolts (got {number!r})")
    if bound_uv < 0:
        raise ValueError("bound_uv: must be at least 0")
    return Voltage(value_uv, bound_uv)


class TraceWriter:
    """Appends records to a new file, each line flushed before `write` returns."""

    def __init__(self, path: Path) -> None:
        """Creates `path`; raises FileExistsError rather than overwrite a trace."""
        self.path = path
        self._file = open(path, "x", encoding="utf-8", newline="\n")  # noqa: SIM115

    def write(self, record: Record) -> None:
        self._file.write(json.dumps(to_json(record), ensure_ascii=False, separators=(",", ":")) + "\n")
        self._file.flush()

    def close(self) -> None:
        self._file.close()


def read_trace(path: str | Path) -> Trace:
    """The trace in a file.

    Raises TraceError, one sentence with file and line, if the file cannot be
    read, does not start with a header and a snapshot, or is damaged other than
    by having lost the rest of its last line.
    """
    try:
        raw = Path(path).read_bytes()
    except OSError as e:
        raise TraceError(
            f"{path}: cannot be read ({e.strerror}); give the path of a trace (*.jsonl)"
        ) from None
    lines = raw.split(b"\n")
    torn = lines.pop()  # what follows the last line end: nothing in a whole file
    records: list[Record] = []
    for number, line in enumerate(lines, 1):
        if line.strip():
            records.append(_read_line(path, number, line))
    if torn.strip() and not any(isinstance(r, End) for r in records):
        try:  # written by hand without a last line end: whole all the same
            records.append(_read_line(path, len(lines) + 1, torn))
        except TraceError:
            if not records:
                raise
    return trace_of(records, str(path))


def _read_line(path: str | Path, number: int, line: bytes) -> Record:
    try:
        plain = json.loads(line.decode())
        if not isinstance(plain, dict):
            raise ValueError("the line is no JSON object")
        return from_json(plain)
    except UnicodeDecodeError:
        raise TraceError(f"{path}:{number}: is no UTF-8 text; the trace is damaged here") from None
    except json.JSONDecodeError as e:
        raise TraceError(f"{path}:{number}: is no JSON ({e.msg}); the trace is damaged here") from None
    except RecursionError:
        raise TraceError(f"{path}:{number}: is nested far too deep; the trace is damaged here") from None
    except ValueError as e:
        raise TraceError(f"{path}:{number}: {e}") from None


def trace_of(records: list[Record], source: str) -> Trace:
    """Records as a `Trace`: header first, snapshot next, nothing after the end.

    Raises TraceError with one sentence where that is not so, where a sequence
    number is missing or doubled, where a read-back belongs to nothing, or where
    a record cannot be what happened (`bench.trace.sense`).
    """
    if not records or not isinstance(records[0], Header):
        raise TraceError(f"{source}: the first line must be the header")
    rest = tuple(records[1:])
    # A run that the bench ended before anything was read has its end record alone.
    if not any(isinstance(r, Snapshot) for r in rest) and any(not isinstance(r, (Note, End)) for r in rest):
        raise TraceError(f"{source}: has no snapshot; a trace begins with what every channel read at rest")
    for place, record in enumerate(rest):
        if isinstance(record, Header):
            raise TraceError(f"{source}: has two headers; one file holds one run")
        if isinstance(record, End) and place != len(rest) - 1:
            raise TraceError(f"{source}: goes on after its end record")
    _check_sequence(rest, source)
    wrong = nonsense(records[0], rest)
    if wrong is not None:
        raise TraceError(f"{source}: {wrong}")
    return Trace(records[0], rest)


def _unmoved(readback: Readback) -> bool:
    """Whether it is of voltage at a call's terminal whose relay the fixture has not moved yet."""
    return readback.what == "voltage" and readback.of == readback.seq


def _check_sequence(records: tuple[Record, ...], source: str) -> None:
    expected: int | None = None
    applied: set[int] = set()
    for record in records:
        if not isinstance(record, (Applied, Readback, Edge)):
            continue
        if expected is not None and record.seq != expected:
            raise TraceError(
                f"{source}: the record after seq {expected - 1} has seq {record.seq}; "
                "a record is missing, doubled or out of order"
            )
        expected = record.seq + 1
        if isinstance(record, Applied):
            applied.add(record.seq)
        elif isinstance(record, Readback) and record.of not in applied and not _unmoved(record):
            raise TraceError(f"{source}: the read-back with seq {record.seq} belongs to no applied record")
