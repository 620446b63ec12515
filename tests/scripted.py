"""Traces written by hand: a script of stimuli and edges on an exact clock.

Times are seconds since the snapshot.  Every event is known to ±1 ms unless
`half_ms` says otherwise.
"""

from __future__ import annotations

from collections.abc import Mapping

from bench.judge.findings import Finding, Judgement
from bench.judge.judge import judge_trace
from bench.trace.records import Applied, Edge, End, Header, Readback, Record, Snapshot, Trace, Value, Voltage
from firmware_ref.parameters import Parameters

LEAK = Voltage(1_320_000, 5_000)
CLEAR = Voltage(800_000, 5_000)


class Script:
    def __init__(self, parameters: Parameters, half_ms: float = 1.0) -> None:
        self.parameters = parameters
        self.half_us = round(half_ms * 1000)
        self._timed: list[tuple[int, int, str, str, Value]] = []

    def _add(self, at_s: float, kind: str, ch: str, value: Value) -> Script:
        self._timed.append((round(at_s * 1e6), len(self._timed), kind, ch, value))
        return self

    def supply(self, at_s: float, on: bool = True) -> Script:
        self._add(at_s, "moved", "main", "closed" if on else "open")
        return self._add(at_s, "edge", "sense.board", "on" if on else "off")

    def call(self, at_s: float, **calls: bool) -> Script:
        for name, on in calls.items():
            self._add(at_s, "moved", f"call.{name}", "on" if on else "off")
        return self

    def sensor(self, at_s: float, value: Value, name: str = "1") -> Script:
        return self._add(at_s, "moved", f"sensor.{name}", value)

    def out(self, at_s: float, **outputs: bool) -> Script:
        for name, on in outputs.items():
            self._add(at_s, "edge", f"out.{name}", "on" if on else "off")
        return self

    def light(self, at_s: float, on: bool) -> Script:
        return self._add(at_s, "edge", "light", "on" if on else "off")

    def records(self, end_s: float | None, reason: str = "complete") -> list[Record]:
        values: dict[str, Value] = {"main": "open", "sense.board": "off", "sensor.1": "open"}
        values |= {f"call.{c}": "off" for c in self.parameters.calls}
        values |= {f"out.{o.name}": "off" for o in self.parameters.outputs}
        if self.parameters.light is not None:
            values["light"] = "off"
        found: list[Record] = [Snapshot(0, values)]
        seq = 0
        for t, _, kind, ch, value in sorted(self._timed, key=lambda item: item[:2]):
            first, last = t - self.half_us, t + self.half_us
            if kind == "edge":
                found.append(Edge(seq, ch, str(value), first, last))
                seq += 1
                continue
            found.append(Applied(seq, seq + 1, ch, value, first, last))
            what = ("position", "terminal") if ch.startswith("sensor") else ("position",)
            for n, side in enumerate(what, 1):
                found.append(Readback(seq + n, seq, ch, value, first, last, side))
            seq += 1 + len(what)
        if end_s is not None:
            found.append(End(round(end_s * 1e6), reason))
        return found

    def trace(self, end_s: float | None, reason: str = "complete", procedure: Mapping | None = None) -> Trace:
        header = Header(profile={}, profile_sha256="", wiring={}, clock="exact", procedure=procedure or {})
        return Trace(header, tuple(self.records(end_s, reason)))

    def judge(self, end_s: float | None, decision: str | None = None, **kwargs: object) -> Judgement:
        return judge_trace(self.trace(end_s, **kwargs), self.parameters, decision)  # type: ignore[arg-type]


def failed(judgement: Judgement) -> list[Finding]:
    return [f for f in judgement.findings if f.verdict == "fail"]


def named(judgement: Judgement, requirement: str, output: str | None = None) -> list[Finding]:
    return [f for f in judgement.findings if f.requirement == requirement and f.output == output]
