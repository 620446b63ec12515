"""A simulated board on a stand with every error a bench may have, judged without the serial side.

Every stamp has a half-width as wide as this bench's aims allow and an error
anywhere inside it, for a share of the stands always at its ends.  The
fixture's clock is up to ±0.5 % off and drifts by up to 30 ppm as it warms up,
the host's by ±100 ppm; the trace holds samples of both, with round trips.
"""

from __future__ import annotations

import math
import random
from collections.abc import Sequence
from operator import itemgetter

from bench.judge.bounds import SIGNAL_BOUND_UV
from bench.judge.findings import Judgement
from bench.judge.judge import judge_trace
from bench.run.bench import Identity
from bench.run.clock_watch import FIRST_US, LATER_US
from bench.simulated.board import Board
from bench.simulated.draw import whole
from bench.simulated.faults import Fault
from bench.trace.records import (
    Applied,
    Clock,
    Edge,
    End,
    Header,
    Readback,
    Record,
    Snapshot,
    Trace,
    Value,
    Voltage,
)
from firmware_ref.parameters import Parameters

#: Widest half-widths in us: an AC edge, a signal step, a contact or a relay's position.
AC_US, SIGNAL_US, CONTACT_US = 2_500, 4_000, 1_000
#: Opposite edges of an AC terminal closer than this are not seen apart.
HALF_CYCLE_US = 8_400
RATE_PPM, DRIFT_PPM, HOST_PPM = 4_970, 30, 100
LONGEST_TRIP_US = 3_000


class Clocks:
    """True time into ticks of the fixture and into the host's time."""

    def __init__(self, rng: random.Random) -> None:
        self._rate = rng.choice((-1, 1, rng.uniform(-1, 1))) * RATE_PPM / 1e6
        self._drift = rng.choice((-1, 1, rng.uniform(-1, 1))) * DRIFT_PPM / 1e6
        self._warms_us = rng.uniform(5e6, 600e6)
        self._host = rng.choice((-1, 1, rng.uniform(-1, 1))) * HOST_PPM / 1e6
        self._zero_us = rng.randint(1_000_000, 1 << 34)

    def tick(self, t_us: float) -> int:
        warming = self._drift * (t_us + self._warms_us * math.expm1(-t_us / self._warms_us))
        return round(t_us * (1 + self._rate) + warming) + self._zero_us

    def host(self, t_us: float) -> int:
        return round(t_us * (1 + self._host)) + 77_000_000


class Stand:
    """Stimuli in, a trace out; arguments are true us.  `errors` False: points in time on an exact clock."""

    def __init__(
        self,
        parameters: Parameters,
        seed: int,
        draw: str,
        faults: tuple[Fault, ...] = (),
        errors: bool = True,
    ) -> None:
        self.parameters, self.seed, self.draw = parameters, seed, draw
        self.board = Board(parameters, seed=seed, draw=draw, faults=faults)
        self.rng = random.Random(f"stand {seed}")
        self.now_us = 0
        self.ends = self.rng.random() < 0.3  # stamps always as wrong as they may be
        self.outage = self.rng.random() < 0.5  # a cut takes the calls' voltage away too
        self.errors = errors
        self.clocks = Clocks(self.rng) if errors else None
        self.calls = dict.fromkeys(parameters.calls, False)
        self.supplied = False
        self.script: list[tuple[int, str, str, str | int | bool]] = []  # what was done, to be done again
        self.modes: list[tuple[int, str, Value]] = []
        self.seen: list[tuple[int, str, Value]] = []  # edges and stimuli, in true order
        self.levels: dict[str, Value] = {
            "main": "open",
            "board": "open",
            "sense.main": "on",
            "sense.board": "off",
        }
        self.levels |= {f"sensor.{s.name}": "open" for s in parameters.sensors}
        self.levels |= {f"call.{c}": "off" for c in parameters.calls}
        self.levels |= {"button": "open"} if parameters.button is not None else {}
        self._outputs = {o.name: (_channel(o.name), o.kind) for o in parameters.outputs}
        self.levels |= {_channel(o.name): _read(o.kind, o.kind == "contact-nc") for o in parameters.outputs}
        if parameters.light is not None:
            self._outputs["light"] = ("light", "ac")
            self.levels["light"] = "off"
        self._start = dict(self.levels)

    # -- stimuli ----------------------------------------------------------------------------------

    def wait(self, us: int) -> None:
        self.now_us += us
        changes = self.board.advance(self.now_us)
        if changes:
            self._note_mode(changes[0].at_us)
        for change in changes:
            ch, kind = self._outputs[change.name]
            self._see(change.at_us, ch, _read(kind, change.on))

    def _note_mode(self, at_us: int) -> None:
        mode = self.board.mode.value
        if not self.modes or self.modes[-1][2] != mode:
            self.modes.append((at_us, "(mode now)", mode))

    def supply(self, on: bool) -> None:
        if on is self.supplied:
            return
        self.supplied = on
        self.script.append((self.now_us, "supply", "", on))
        self.board.supply(on, self.now_us)
        self._see(self.now_us, "sense.board", "on" if on else "off")
        if self.outage:
            for name in (n for n, called in self.calls.items() if called):
                self.board.call(name, on, self.now_us)
        self.wait(0)

    def call(self, name: str, on: bool) -> None:
        self.calls[name] = on
        self.script.append((self.now_us, "call", name, on))
        if self.supplied or not self.outage:
            self.board.call(name, on, self.now_us)
        self._see(self.now_us, f"call.{name}", "on" if on else "off")
        self.wait(0)

    def sensor(self, name: str, value: str | int) -> None:
        self.script.append((self.now_us, "sensor", name, value))
        self.board.sensor(name, value, self.now_us)
        read: Value = value if isinstance(value, str) else Voltage(value, SIGNAL_BOUND_UV)
        if isinstance(read, Voltage) and self.errors:
            # Short of the bound itself by 1 uV: at exactly the bound a `leak` or `clear` could be in its band.
            error = self.rng.choice((-1, 1)) if self.ends else self.rng.uniform(-1, 1)
            read = Voltage(read.value_uv + round(error * (SIGNAL_BOUND_UV - 1)), SIGNAL_BOUND_UV)
        self._see(self.now_us, f"sensor.{name}", read)
        self.wait(0)

    def button(self, closed: bool) -> None:
        self.script.append((self.now_us, "button", "", closed))
        self.board.button(closed, self.now_us)
        self._see(self.now_us, "button", "closed" if closed else "open")
        self.wait(0)

    def do(self, script: Sequence[tuple[int, str, str, str | int | bool]], end_us: int) -> None:
        """Do a script of another stand, up to `end_us`."""
        for at_us, kind, name, value in script:
            self.wait(at_us - self.now_us)
            if kind == "supply":
                self.supply(bool(value))
            elif kind == "call":
                self.call(name, bool(value))
            elif kind == "button":
                self.button(bool(value))
            else:
                assert not isinstance(value, bool)
                self.sensor(name, value)
        self.wait(end_us - self.now_us)

    def _see(self, at_us: int, ch: str, value: Value) -> None:
        self.seen.append((at_us, ch, value))
        self.levels[ch] = value

    # -- the trace --------------------------------------------------------------------------------

    def judge(self, decision: str | None = None) -> Judgement:
        return judge_trace(self.trace(), self.parameters, decision)

    def trace(self) -> Trace:
        rng = random.Random(f"stamps {self.seed}")
        timed: list[tuple[int, Record]] = []
        last: dict[str, int] = {}
        seq = 0
        reported = self.reported()
        widest_us = {ch: _widest_us(ch) for ch in {ch for _, ch, _ in reported}}
        driven = {ch for ch in widest_us if ch.startswith(("call.", "sensor.", "button"))}
        for t, ch, value in reported:
            first, end, middle = self._stamp(rng, t, widest_us[ch], last.get(ch, -(1 << 60)))
            last[ch] = middle
            if ch in driven:
                what = "terminal" if ch.startswith("sensor.") else "position"
                moved = Applied(seq, seq + 1, ch, value, first, end)
                read = Readback(seq + 1, seq, ch, value, first, end, what)
                timed += [(middle, moved), (middle, read)]
                seq += 2
            else:
                timed.append((middle, Edge(seq, ch, str(value), first, end)))
                seq += 1
        timed += [(r.tick_us, r) for r in self._samples(rng)]
        timed.sort(key=itemgetter(0))
        records = (
            Snapshot(self._tick(-10_000), self._start),
            *[r for _, r in timed],
            End(self._tick(self.now_us), "complete"),
        )
        header = Header(profile={}, profile_sha256="", wiring={}, clock="fitted" if self.errors else "exact")
        return Trace(header, records)

    def _tick(self, t_us: float) -> int:
        return round(t_us) if self.clocks is None else self.clocks.tick(t_us)

    def _stamp(self, rng: random.Random, t: int, widest: int, not_before: int) -> tuple[int, int, int]:
        """First, last and middle tick; stamps of one channel never change places."""
        if not self.errors:
            return t, t, t
        half = widest if self.ends else whole(rng, 100, widest)
        error = rng.choice((-half, half)) if self.ends else whole(rng, -half, half)
        middle = max(not_before, self._tick(t) + error)
        return middle - half, middle + half, middle

    def _samples(self, rng: random.Random) -> list[Clock]:
        if self.clocks is None:
            return []
        spans = (*FIRST_US, *LATER_US)
        found, t, n = [], 1_000, 0
        while t < self.now_us:
            trip = whole(rng, 200, LONGEST_TRIP_US)
            read = t + whole(rng, 0, trip)
            found.append(Clock(self.clocks.tick(read), self.clocks.host(t), self.clocks.host(t + trip)))
            t += spans[n] if n < len(spans) else rng.choice(LATER_US)
            n += 1
        return found

    def seen_in_order(self) -> list[tuple[int, str, Value]]:
        """What is reported, with the board's own changes of mode between, for people."""
        return sorted([*self.reported(), *self.modes], key=lambda item: item[0])

    def reported(self) -> list[tuple[int, str, Value]]:
        """What is reported of all that happened: bounce within a half cycle of an AC edge is not seen."""
        open_groups: dict[str, tuple[int, Value]] = {}
        levels = dict(self._start)
        found: list[tuple[int, str, Value]] = []

        def close(ch: str) -> None:
            at_us, value = open_groups.pop(ch)
            if levels[ch] != value:
                levels[ch] = value
                found.append((at_us, ch, value))

        for t, ch, value in self.seen:
            for other in [c for c, (since, _) in open_groups.items() if t - since > HALF_CYCLE_US]:
                close(other)
            if ch.startswith("out."):
                open_groups[ch] = (open_groups[ch][0] if ch in open_groups else t, value)
            else:
                found.append((t, ch, value))
        for ch in list(open_groups):
            close(ch)
        found.sort(key=itemgetter(0))
        return found


def _widest_us(ch: str) -> int:
    if ch.startswith("sensor."):
        return SIGNAL_US
    return CONTACT_US if ch in ("button", "light") or ch.startswith(("call.", "alarm.")) else AC_US


def _channel(output: str) -> str:
    return output if "." in output else f"out.{output}"


def _read(kind: str, on: bool) -> str:
    return ("on" if on else "off") if kind == "ac" else ("closed" if on else "open")


class StandBench:
    """`bench.run.bench.Bench` over a stand, so that a procedure can be carried out on it; ticks are true us."""

    def __init__(self, stand: Stand) -> None:
        self.identity = Identity("mitbench", "stand", "0", "0", simulated=True, speed="max")
        self.stand = stand
        self._ids = 0
        self._seq = 0
        self._told = 0
        self._ready: list[Record] = []

    def start(self) -> Snapshot:
        return Snapshot(0, dict(self.stand.levels))

    def apply(self, ch: str, value: Value) -> int:
        stand, now = self.stand, self.stand.now_us
        self._ids += 1
        kind, _, name = ch.partition(".")
        if kind == "call":
            stand.call(name, value == "on")
        elif kind == "sensor":
            stand.sensor(name, value.value_uv if isinstance(value, Voltage) else value)
        else:
            stand.levels[ch] = value
            powered = stand.levels["main"] == stand.levels["board"] == "closed"
            if powered is not stand.supplied:
                stand.supply(powered)
        self._ready += [
            Applied(self._next(), self._ids, ch, value, now, now),
            Readback(
                self._next(),
                self._seq - 1,
                ch,
                value,
                now,
                now,
                "terminal" if kind == "sensor" else "position",
            ),
        ]
        # Two moves of one channel are never closer than their stamps can tell apart.
        stand.wait(10_000)
        return self._ids

    def pulse(self, ch: str, span_us: int, count: int = 1, gap_us: int = 0) -> int:
        """All of it at once: nothing else of a procedure happens meanwhile."""
        stand = self.stand
        self._ids += 1
        for _ in range(count):
            for closed, us in ((True, span_us), (False, gap_us)):
                now, value = stand.now_us, "closed" if closed else "open"
                stand.button(closed)
                self._ready += [
                    Applied(self._next(), self._ids, ch, value, now, now),
                    Readback(self._next(), self._seq - 1, ch, value, now, now),
                ]
                stand.wait(us)
        return self._ids

    def poll(self, wait_us: int) -> list[Record]:
        stand = self.stand
        end_us = stand.now_us + wait_us
        while not self._fresh() and stand.now_us < end_us:
            due = stand.board.next_change_us()
            stand.wait(max(1, min(end_us, end_us if due is None else due) - stand.now_us))
        ready, self._ready = self._ready, []
        return ready

    def _fresh(self) -> bool:
        for t, ch, value in self.stand.seen[self._told :]:
            if not ch.startswith(("call.", "sensor.", "button")):
                self._ready.append(Edge(self._next(), ch, str(value), t, t))
        self._told = len(self.stand.seen)
        return bool(self._ready)

    def now_us(self) -> int:
        return self.stand.now_us

    def sample_clock(self) -> Clock:
        return Clock(self.stand.now_us, self.stand.now_us, self.stand.now_us)

    def safe(self) -> None:
        pass

    def close(self) -> None:
        pass

    def _next(self) -> int:
        self._seq += 1
        return self._seq
