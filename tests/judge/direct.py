"""A simulated board under a random sequence of stimuli, judged without the serial side.

The sequence aims at open windows: waits are drawn near the profile's own
timers as often as at random.  Event stamps are given a half-width and an error
anywhere inside it.
"""

from __future__ import annotations

import random

from bench.judge.findings import Judgement
from bench.judge.judge import judge_trace
from bench.simulated.board import Board
from bench.simulated.faults import Fault
from bench.trace.records import Applied, Edge, End, Header, Readback, Record, Snapshot, Trace, Value, Voltage
from firmware_ref.parameters import Interval, Parameters

HALF_US = 1_500
BOUND_UV = 5_000


class Direct:
    """Stimuli in, a trace out; times are true us."""

    def __init__(self, parameters: Parameters, seed: int, draw: str, faults: tuple[Fault, ...] = ()) -> None:
        self.parameters = parameters
        self.board = Board(parameters, seed=seed, draw=draw, faults=faults)
        self.rng = random.Random(seed)
        self.now_us = 0
        values: dict[str, Value] = {"main": "open", "sense.board": "off"}
        values |= {f"sensor.{s.name}": "open" for s in parameters.sensors}
        values |= {f"call.{c}": "off" for c in parameters.calls}
        values |= {f"out.{o.name}": "off" for o in parameters.outputs}
        if parameters.light is not None:
            values["light"] = "off"
        self._timed: list[tuple[int, str, str, Value]] = []
        self._snapshot = Snapshot(-HALF_US, values)

    def wait(self, us: int) -> None:
        self.now_us += us
        for change in self.board.advance(self.now_us):
            channel = "light" if change.name == "light" else f"out.{change.name}"
            self._timed.append((change.at_us, "edge", channel, "on" if change.on else "off"))

    def supply(self, on: bool) -> None:
        self.board.supply(on, self.now_us)
        self._timed.append((self.now_us, "edge", "sense.board", "on" if on else "off"))
        self.wait(0)

    def call(self, name: str, on: bool) -> None:
        self.board.call(name, on, self.now_us)
        self._timed.append((self.now_us, "moved", f"call.{name}", "on" if on else "off"))
        self.wait(0)

    def sensor(self, name: str, value: str | int) -> None:
        self.board.sensor(name, value, self.now_us)
        read: Value = (
            value
            if isinstance(value, str)
            else Voltage(value + self.rng.randint(-BOUND_UV, BOUND_UV), BOUND_UV)
        )
        self._timed.append((self.now_us, "moved", f"sensor.{name}", read))
        self.wait(0)

    def trace(self) -> Trace:
        records: list[Record] = [self._snapshot]
        seq = 0
        for t, kind, ch, value in sorted(self._timed, key=lambda item: item[0]):
            middle = t + self.rng.randint(-HALF_US, HALF_US)
            first, last = middle - HALF_US, middle + HALF_US
            if kind == "edge":
                records.append(Edge(seq, ch, str(value), first, last))
                seq += 1
                continue
            records.append(Applied(seq, seq + 1, ch, value, first, last))
            what = "terminal" if ch.startswith("sensor") else "position"
            records.append(Readback(seq + 1, seq, ch, value, first, last, what))
            seq += 2
        records.append(End(self.now_us, "complete"))
        return Trace(Header(profile={}, profile_sha256="", wiring={}, clock="exact"), tuple(records))

    def judge(self, decision: str | None = None) -> Judgement:
        return judge_trace(self.trace(), self.parameters, decision)


def signals(parameters: Parameters) -> dict[str, list[str | int]]:
    """Signals worth giving each sensor: clear, leak, in the bands and between, lost."""
    found: dict[str, list[str | int]] = {}
    for s in parameters.sensors:
        if s.kind == "analog":
            assert s.trip is not None and s.clear is not None
            out = 3 * BOUND_UV if s.rising else -3 * BOUND_UV
            high = (s.trip.high_uv if s.rising else s.trip.low_uv) + out
            low = (s.clear.low_uv if s.rising else s.clear.high_uv) - out
            between = (s.trip.low_uv + s.clear.high_uv) // 2
            bands = [(s.trip.low_uv + s.trip.high_uv) // 2, (s.clear.low_uv + s.clear.high_uv) // 2]
            found[s.name] = [low, low, low, high, high, high, between, *bands, *sorted(s.lost_by)]
        else:
            found[s.name] = ["normal", "normal", "leak", "leak", *sorted(s.lost_by)]
    return found


def random_run(
    parameters: Parameters, seed: int, draw: str = "anywhere", steps: int = 40, faults: tuple[Fault, ...] = (),
    cuts: bool = True, quick_signals: bool = True,
) -> Direct:  # fmt: skip
    """One board through `steps` random stimuli."""
    rng = random.Random(f"sequence {seed}")
    run = Direct(parameters, seed, draw, faults)
    t = parameters.timing
    spans = [s for s in (t.trip, t.clear, t.loss, t.return_, t.warm_up, t.boot, t.hold, t.ride_through) if s]
    follow = parameters.outputs[0].follow_on
    choices = signals(parameters)
    calls = dict.fromkeys(parameters.calls, False)
    supplied = False
    for sensor, values in choices.items():
        run.wait(rng.randint(1_000, 200_000))
        run.sensor(sensor, rng.choice(values))
    for _ in range(steps):
        run.wait(_pause(rng, spans, follow, quick_signals))
        kind = rng.random()
        if not supplied or (cuts and kind < 0.06):
            supplied = not supplied
            run.supply(supplied)
        elif kind < 0.55:
            name = rng.choice(parameters.calls)
            calls[name] = not calls[name]
            run.call(name, calls[name])
        else:
            sensor = rng.choice(list(choices))
            run.sensor(sensor, rng.choice(choices[sensor]))
    run.wait(rng.randint(0, 20_000_000))
    return run


def _pause(rng: random.Random, spans: list[Interval], follow: Interval, quick: bool) -> int:
    """A wait in us, never so short that two stamps of one channel could change places."""
    kind = rng.random()
    if kind < 0.35:
        span = rng.choice(spans)
        near = rng.choice((span.min_us, span.max_us, rng.randint(span.min_us, span.max_us)))
        return max(4_000, near + rng.randint(0, 300_000))
    if kind < 0.6:
        return rng.randint(4_000, 2 * follow.max_us)
    if kind < 0.9:
        return rng.randint(1_000_000, 20_000_000)
    return rng.randint(4_000 if quick else 200_000, 400_000)
