"""What is known right now of the board's terminals, from the records so far."""

from __future__ import annotations

from bench.judge.flashes import FlashDecoder, Shown
from bench.report.judging import BEHIND_US
from bench.trace.records import Applied, Clock, Edge, End, Note, Readback, Record, Snapshot, Value
from firmware_ref.parameters import Parameters


class Watched:
    """Records in; the present state of supply, calls, outputs and sensors out.

    `None` where nothing has been read yet.  `tick_us` is the latest instant
    that any record spoke of, `zero_us` that of the snapshot.
    """

    def __init__(self, parameters: Parameters) -> None:
        self.zero_us: int | None = None
        self.tick_us = 0
        self.supply: str | None = None
        self.calls: dict[str, str | None] = dict.fromkeys(parameters.calls)
        self.outputs: dict[str, str | None] = {o.name: None for o in parameters.outputs}
        self.sensors: dict[str, Value | None] = {t: None for s in parameters.sensors for t in s.terminals}
        self.end: End | None = None
        self._light = parameters.light
        self._decoder: FlashDecoder | None = None
        self._shown: Shown | None = None

    @property
    def light(self) -> str | None:
        """What the light was last seen to show: `steady`, `5 flashes`; None: no light, or nothing to be read yet."""
        lasting = None if self._decoder is None else self._decoder.present
        last = lasting or self._shown
        return None if last is None else last.code

    @property
    def elapsed_s(self) -> float:
        """Board time since the snapshot, by the fixture's own clock."""
        return 0.0 if self.zero_us is None else (self.tick_us - self.zero_us) / 1e6

    def take(self, record: Record) -> None:
        """One more record of the run."""
        if isinstance(record, Snapshot):
            self.zero_us = record.tick_us
            for ch, value in record.values.items():
                self._set(ch, value)
            if self._light is not None and "light" in record.values:
                self._decoder = FlashDecoder(self._light, record.values["light"] == "on", record.tick_us)
        elif isinstance(record, Edge) and record.ch == "light":
            if self._decoder is not None:
                middle_us = (record.earliest_us + record.latest_us) // 2
                self._read(self._decoder.edge(record.value == "on", middle_us))
        elif isinstance(record, Edge):
            self._set(record.ch, record.value)
        elif isinstance(record, Readback):
            wanted = "terminal" if record.ch.startswith("sensor.") else "position"
            if record.what == wanted:
                self._set(record.ch, record.value)
        elif isinstance(record, End):
            self.end = record
        self.pass_time(_tick(record))

    def pass_time(self, tick_us: int) -> None:
        """The run has come to `tick_us`; going back is ignored."""
        self.tick_us = max(self.tick_us, tick_us)
        if self._decoder is not None:
            self._read(self._decoder.advance(self.tick_us - BEHIND_US))

    def _read(self, shown: list[Shown]) -> None:
        for one in shown:
            if one.code is not None:
                self._shown = one

    def _set(self, ch: str, value: Value) -> None:
        kind, _, name = ch.partition(".")
        if ch == "sense.board":
            self.supply = str(value)
        elif kind == "call" and name in self.calls:
            self.calls[name] = str(value)
        elif kind == "sensor" and name in self.sensors:
            self.sensors[name] = value
        elif kind == "out" and name in self.outputs:
            self.outputs[name] = str(value)
        elif ch in self.outputs:  # alarm contacts carry their own name
            self.outputs[ch] = str(value)


def _tick(record: Record) -> int:
    if isinstance(record, (Snapshot, Clock, Note, End)):
        return record.tick_us
    if isinstance(record, (Edge, Readback, Applied)):
        return record.latest_us
    return 0
