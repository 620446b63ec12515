"""A bench and a board without tolerances, for the dry run.

The reference machine decides the mode; each output then moves in the middle of
the interval it has for that.  Stimuli take effect at once, the clock is exact,
and time moves only in `poll`.
"""

from __future__ import annotations

from bench.procedure.words import output_channel
from bench.run.bench import Identity
from bench.run.lamp import Lamp
from bench.trace.records import Applied, Clock, Edge, Readback, Record, Snapshot, Value, Voltage
from firmware_ref.parameters import Condition, Output, Parameters, Policy, Sensor
from firmware_ref.reference import ReferenceBoard

#: Changes of state that the outputs' totals count for, from the stimulus; after all others they react.
_CAUSES = {
    **dict.fromkeys(
        ((s, "leak_active") for s in (
            "start_up", "normal", "self_test", "post_leak_hold", "post_leak_hold_lost", "sensor_fault", "sensor_fault_latched",
        )), "trip",
    ),
    **dict.fromkeys(
        ((s, f) for s in ("start_up", "normal", "self_test") for f in ("sensor_fault", "sensor_fault_latched")), "loss"
    ),
}  # fmt: skip

#: States whose end is an event that restart delays count from, where normal follows.
_ENDS = {
    "post_leak_hold": "release", "post_leak_hold_lost": "release",
    "sensor_fault": "return", "sensor_fault_latched": "return",
}  # fmt: skip


class NominalBench:
    """`bench.run.bench.Bench` over `ReferenceBoard`."""

    def __init__(self, parameters: Parameters) -> None:
        self.identity = Identity("mitbench", "dry run", "0", "0", simulated=True, speed="max")
        self._parameters = parameters
        self._board = ReferenceBoard(parameters)
        self._now_us = 0
        self._seq = 0
        self._ids = 0
        self._ready: list[Record] = []
        self._switches = {"main": False, "board": False}
        self._calls = dict.fromkeys(parameters.calls, False)
        self._sensors: dict[str, Value] = {t: "open" for s in parameters.sensors for t in s.terminals}
        self._reads = {o.name: o.kind == "contact-nc" for o in parameters.outputs}
        self._moving: dict[str, tuple[int, bool]] = {}
        self._locked_us: dict[str, int] = {}  # until when a restart delay keeps an output off
        self._condition_us = 0
        self._lamp = None if parameters.light is None else Lamp(parameters.light)
        self._pulses: list[tuple[int, int, str, bool]] = []  # when, by which command, what, where to

    def start(self) -> Snapshot:
        values: dict[str, Value] = dict.fromkeys(self._switches, "open")
        values.update({f"call.{c}": "off" for c in self._calls})
        values.update({f"sensor.{s}": v for s, v in self._sensors.items()})
        values.update(
            {output_channel(o.name): o.reading(self._reads[o.name]) for o in self._parameters.outputs}
        )
        values.update({"button": "open"} if self._parameters.button is not None else {})
        values.update({"light": "off"} if self._lamp is not None else {})
        values.update({"sense.main": "on", "sense.board": "off"})
        return Snapshot(0, values)

    def apply(self, ch: str, value: Value) -> int:
        self._ids += 1
        now = self._now_us
        applied = Applied(self._next(), self._ids, ch, value, now, now)
        self._ready.append(applied)
        self._ready.append(Readback(self._next(), applied.seq, ch, value, now, now))
        if ch.startswith("sensor."):
            self._ready.append(Readback(self._next(), applied.seq, ch, value, now, now, "terminal"))
            self._sensors[ch.removeprefix("sensor.")] = value
            self._board.condition(self._condition(), now)
            self._condition_us = now
        elif ch in self._switches:
            self._switch(ch, value == "closed")
        else:
            self._calls[ch.removeprefix("call.")] = value == "on"
            fed = self._switches["main"] if self._parameters.calls_fed_from == "bench" else self._powered
            voltage = value if fed else "off"
            self._ready.append(Readback(self._next(), applied.seq, ch, voltage, now, now, "voltage"))
            self._aim(None)
        return self._ids

    def pulse(self, ch: str, span_us: int, count: int = 1, gap_us: int = 0) -> int:
        self._ids += 1
        for n in range(count):
            at_us = self._now_us + n * (span_us + gap_us)
            self._pulses += [(at_us, self._ids, ch, True), (at_us + span_us, self._ids, ch, False)]
        return self._ids

    def poll(self, wait_us: int) -> list[Record]:
        end_us = self._now_us + wait_us
        while not self._ready and self._now_us < end_us:
            self._advance(end_us)
        ready, self._ready = self._ready, []
        return ready

    def now_us(self) -> int:
        return self._now_us

    def sample_clock(self) -> Clock:
        return Clock(self._now_us, self._now_us, self._now_us)

    def safe(self) -> None:
        pass

    def close(self) -> None:
        pass

    def _next(self) -> int:
        self._seq += 1
        return self._seq

    def _edge(self, ch: str, value: str) -> None:
        self._ready.append(Edge(self._next(), ch, value, self._now_us, self._now_us))

    @property
    def _powered(self) -> bool:
        return all(self._switches.values())

    def _switch(self, ch: str, closed: bool) -> None:
        before = self._powered
        self._switches[ch] = closed
        if self._powered == before:
            return
        self._edge("sense.board", "on" if self._powered else "off")
        if self._powered:
            self._condition_us = self._now_us
        self._board.supply(self._powered, self._now_us)
        if self._powered:
            self._lock("power-up")
        self._aim(None)

    def _advance(self, end_us: int) -> None:
        """To whatever comes first: an output's move, the board's next deadline, or the end."""
        if self._lamp is not None and self._flicker(self._lamp, end_us):
            return
        if self._pulses and self._pulses[0][0] <= end_us and self._pulse(self._pulses[0][0]):
            return
        due = self._board.next_deadline_us()
        first = min(self._moving, key=lambda name: self._moving[name][0], default=None)
        if first is not None and self._moving[first][0] <= min(end_us, end_us if due is None else due):
            at_us, on = self._moving.pop(first)
            self._now_us = max(self._now_us, at_us)
            self._reads[first] = on
            output = self._parameters.output(first)
            self._edge(output_channel(first), output.reading(on))
            if not on and self._powered:
                self._lock("any-off", output)
        elif due is not None and due <= end_us:
            self._now_us = due
            before = self._board.state
            self._board.advance_to(due)
            if self._board.state == "normal" and before in _ENDS:
                self._lock(_ENDS[before])
            self._aim(_CAUSES.get((before, self._board.state), "react"))
        else:
            self._now_us = end_us

    def _flicker(self, lamp: Lamp, end_us: int) -> bool:
        """The next move of the light, unless something else comes before it."""
        lamp.show(self._board.mode, self._now_us)
        at_us, due = lamp.next_us, self._board.next_deadline_us()
        others = [t for t, _ in self._moving.values()] + [p[0] for p in self._pulses[:1]]
        if at_us is None or at_us > min([end_us, *others, *([] if due is None else [due])]):
            return False
        self._now_us = max(self._now_us, at_us)
        if lamp.move(self._now_us):
            self._edge("light", "on" if lamp.lit else "off")
        return True

    def _pulse(self, at_us: int) -> bool:
        """The next move of a pulse, unless something else comes before it."""
        due = self._board.next_deadline_us()
        others = [t for t, _ in self._moving.values()] + ([] if due is None else [due])
        if min(others, default=at_us) < at_us:
            return False
        _, identity, ch, closed = self._pulses.pop(0)
        now = self._now_us = max(self._now_us, at_us)
        value = "closed" if closed else "open"
        applied = Applied(self._next(), identity, ch, value, now, now)
        self._ready += [applied, Readback(self._next(), applied.seq, ch, value, now, now)]
        self._board.button(closed, now)
        return True

    def _aim(self, cause: str | None) -> None:
        """Set each output moving to where it belongs now; `cause` None: a call or the supply changed."""
        for output in self._parameters.outputs:
            wanted = self._wanted(output)
            moving = self._moving.get(output.name)
            if wanted == (self._reads[output.name] if moving is None else moving[1]):
                continue
            if wanted == self._reads[output.name]:
                del self._moving[output.name]
            else:
                at_us = self._now_us + self._delay_us(output, wanted, cause)
                if wanted and self._board.policy(output.name) is Policy.FOLLOW:
                    at_us = max(at_us, self._locked_us.get(output.name, 0))
                self._moving[output.name] = (at_us, wanted)

    def _lock(self, event: str, only: Output | None = None) -> None:
        """Begin the restart delays that count from `event`, in their middle."""
        for output in self._parameters.outputs if only is None else (only,):
            if output.restart is not None and event in output.restart.after:
                self._locked_us[output.name] = self._now_us + output.restart.delay.middle_us

    def _delay_us(self, output: Output, on: bool, cause: str | None) -> int:
        if cause is None:
            powerless = not self._powered and output.kind == "ac"
            return 0 if powerless else (output.follow_on if on else output.follow_off).middle_us
        total = output.trip if cause == "trip" else output.loss if cause == "loss" else None
        if total is not None:
            return max(0, self._condition_us + total.middle_us - self._now_us)
        return (output.react_on if on else output.react_off).middle_us

    def _wanted(self, output: Output) -> bool:
        called = output.call is not None and self._calls[output.call]
        policy = self._board.policy(output.name)
        on = policy is Policy.ON or (policy is Policy.FOLLOW and called)
        return on and (self._powered or output.kind != "ac")

    def _condition(self) -> Condition:
        found = [_condition_of(s, *(self._sensors[t] for t in s.terminals)) for s in self._parameters.sensors]
        lost = all if self._parameters.rules.lost_when == "all" else any
        if any(c is Condition.HIGH for c in found):
            return Condition.HIGH
        if lost(c is Condition.LOST for c in found):
            return Condition.LOST
        return Condition.LOW if all(c is Condition.LOW for c in found) else Condition.BETWEEN


#: Position of a plain contact -> what stands at its terminal.
_POSITIONS = {"open": "open", "closed": "short"}


def _condition_of(sensor: Sensor, value: Value, trouble: Value | None = None) -> Condition:
    if sensor.kind in ("contact", "trouble-contact"):
        if trouble is not None and trouble == _POSITIONS[sensor.trouble_when or ""]:
            return Condition.LOST
        return Condition.HIGH if value in ("leak", _POSITIONS[sensor.leak_when]) else Condition.LOW
    if not isinstance(value, Voltage):
        if sensor.kind == "modbus" and value not in sensor.lost_by and value != "open":
            return Condition.LOW
        return {"leak": Condition.HIGH, "normal": Condition.LOW}.get(value, Condition.LOST)
    assert sensor.trip is not None and sensor.clear is not None
    below, above = sensor.below, sensor.above
    if below is not None and value.value_uv < (below.low_uv + below.high_uv) // 2:
        return Condition.LOST
    if above is not None and value.value_uv > (above.low_uv + above.high_uv) // 2:
        return Condition.LOST
    trip, clear, uv = sensor.trip, sensor.clear, value.value_uv
    if not sensor.rising:
        uv, trip_uv, clear_uv = -uv, -(trip.low_uv + trip.high_uv) // 2, -(clear.low_uv + clear.high_uv) // 2
    else:
        trip_uv, clear_uv = (trip.low_uv + trip.high_uv) // 2, (clear.low_uv + clear.high_uv) // 2
    if uv >= trip_uv:
        return Condition.HIGH
    return Condition.LOW if uv < clear_uv else Condition.BETWEEN
