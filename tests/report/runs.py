"""Runs written by hand for the tests of what people see."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from bench.judge.findings import Finding, Judgement
from bench.trace.records import Clock, Edge, End, Header, Note, Readback, Record, Snapshot, Trace, Voltage
from firmware_ref.parameters import Mode
from tests.boards import furnace

S = 1_000_000
HALF_US = 1_500
PARAMETERS = furnace()
NASTY = '<script>alert("x")</script>&\x1b[31m\n=1+1'


def header(**changed: Any) -> Header:
    return replace(
        Header(
            profile={"name": "invented-split-furnace"},
            profile_sha256="9f2c" * 16,
            wiring={"call.Y": 3},
            clock="exact",
            created="2025-11-25T14:03:11+00:00",
            mitbench="0.1",
            procedure={"name": "acceptance"},
            dry_run={"board_seconds": 400.0},
            fixture={"maker": "us", "model": "bench one", "serial": "7"},
            unit_under_test="SN 1042",
            operator="J. Doe",
        ),
        **changed,
    )


def edge(seq: int, ch: str, value: str, at_s: float) -> Edge:
    at_us = round(at_s * S)
    return Edge(seq, ch, value, at_us - HALF_US, at_us + HALF_US)


def moved(seq: int, ch: str, value: Any, at_s: float) -> Readback:
    at_us = round(at_s * S)
    what = "terminal" if ch.startswith("sensor.") else "position"
    return Readback(seq, seq - 1, ch, value, at_us - HALF_US, at_us + HALF_US, what)


def records() -> tuple[Record, ...]:
    """Power-up, a Y call, a leak, a long hold that ends too early."""
    values: dict[str, Any] = {"main": "open", "board": "open", "sense.board": "off", "sensor.1": "open"}
    values |= {f"call.{c}": "off" for c in "YWG"} | {f"out.{c}": "off" for c in "YWG"}
    return (
        Snapshot(0, values),
        Note(0, "Power-up"),
        moved(2, "sensor.1", Voltage(810_000, 5_000), 0.5),
        edge(3, "sense.board", "on", 1.0),
        Note(12 * S, "Calls"),
        moved(5, "call.Y", "on", 12.0),
        edge(6, "out.Y", "on", 12.1),
        Note(20 * S, "Leak"),
        moved(8, "sensor.1", Voltage(1_310_000, 5_000), 20.0),
        edge(9, "out.Y", "off", 24.0),
        edge(10, "out.G", "on", 24.0),
        moved(12, "sensor.1", Voltage(810_000, 5_000), 30.0),
        Clock(200 * S, 200 * S, 200 * S),
        edge(13, "out.Y", "on", 345.0),
        edge(14, "out.G", "off", 345.0),
        End(400 * S, "complete"),
    )


def trace(**changed: Any) -> Trace:
    return Trace(header(**changed), records())


FAILED = Finding(
    "hold", None, "fail", 345.0, "Y went on 315.000 s after sensor 1 went to 0.810 V, too early by 43.000 s",
    kind="too-early", also=("release",), count=2, measured=315.0, limits=(358.0, 372.25), bound=0.05,
    uncertainty=0.02, margin=-43.0,
)  # fmt: skip
OPEN = Finding(
    "trip", "G", "inconclusive", 24.0, "G went on 4.000 s after the leak", measured=4.0, limits=(2.0, 4.001),
    bound=0.003, uncertainty=0.002, margin=0.001,
)  # fmt: skip
RIGHT = Finding(
    "follow", "Y", "pass", 12.1, "Y went on 0.100 s after the Y call went on", measured=0.1, limits=(None, 0.25),
    bound=0.003, uncertainty=0.002, margin=0.15,
)  # fmt: skip
HELD = Finding("blocked", "W", "pass", 26.0, "W stayed off when the W call went on")


def judgement(verdict: str = "fail", **changed: Any) -> Judgement:
    return replace(
        Judgement(
            verdict, "hold: too early", (FAILED, OPEN, RIGHT, HELD), ("supply",), ("restart of Y",),
            ("a pulse shorter than one half cycle",), 400.0, "guarded",
        ),
        **changed,
    )  # fmt: skip


class FixedJudge:
    """Stands for the live judge: says what it is told to say, and remembers what it was given."""

    def __init__(self) -> None:
        self.findings: list[Finding] = []
        self.modes: tuple[Mode, ...] = (Mode.UNPOWERED,)
        self.running: list[tuple[str, int, int | None]] = []
        self.fed: list[Record] = []
        self.advanced: list[int] = []

    def feed(self, record: Record) -> None:
        self.fed.append(record)

    def advance(self, tick_us: int) -> None:
        self.advanced.append(tick_us)
