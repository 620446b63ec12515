"""Requirements in signal temporal logic, decided by a published monitor on the records of a trace.

The monitor is the library `rtamt` (dense time, offline).  Time is whole
microseconds and signals are steps, so its answers are exact.  Nothing here
uses the judge: a signal is made of the middles of the stamps, a formula of the
profile's figures.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import rtamt

from bench.trace.records import Edge, End, Readback, Trace, Voltage
from firmware_ref.parameters import Interval, Parameters

Signals = dict[str, list[list[float]]]
_ON = ("on", "closed")


def signals(trace: Trace, parameters: Parameters) -> Signals:
    """`call_y`, `out_y`, `leak`, `low`, `lost`, `supply`: 0 or 1 over time, in us from well before the start."""
    (sensor,) = parameters.sensors
    assert sensor.trip is not None and sensor.clear is not None
    start_us = -1_000_000
    found: Signals = {"leak": [[0, 0]], "low": [[0, 0]], "lost": [[0, 1]], "supply": [[0, 0]]}
    found |= {f"call_{c.lower()}": [[0, 0]] for c in parameters.calls}
    found |= {f"out_{o.name.lower()}": [[0, 0]] for o in parameters.outputs}

    def step(name: str, t_us: int, on: bool) -> None:
        found[name].append([t_us - start_us, int(on)])

    end_us = 0
    for record in trace.records:
        if isinstance(record, End):
            end_us = record.tick_us
        if not isinstance(record, (Edge, Readback)):
            continue
        t_us = (record.earliest_us + record.latest_us) // 2
        kind, _, name = record.ch.partition(".")
        if isinstance(record, Edge) and kind == "out":
            step(f"out_{name.lower()}", t_us, record.value in _ON)
        elif isinstance(record, Edge) and record.ch == "sense.board":
            step("supply", t_us, record.value in _ON)
        elif isinstance(record, Readback) and kind == "call" and record.what == "position":
            step(f"call_{name.lower()}", t_us, record.value in _ON)
        elif isinstance(record, Readback) and record.what == "terminal":
            level = record.value
            step("lost", t_us, not isinstance(level, Voltage))
            step("leak", t_us, isinstance(level, Voltage) and level.value_uv > sensor.trip.high_uv)
            step("low", t_us, isinstance(level, Voltage) and level.value_uv < sensor.clear.low_uv)
    for o in parameters.outputs:
        name = f"out_{o.name.lower()}"
        found[name] = _settled(found[name], parameters.timing.glitch_us)
    for steps in found.values():
        steps.append([end_us - start_us, steps[-1][1]])
    return found


def _settled(steps: list[list[float]], glitch_us: int) -> list[list[float]]:
    """Bounce taken away: a change is at its first edge, and is one if the level differs once that is over."""
    settled, rest = steps[:1], steps[1:]
    while rest:
        first_us = rest[0][0]
        burst = [step for step in rest if step[0] <= first_us + glitch_us]
        rest = rest[len(burst) :]
        if burst[-1][1] != settled[-1][1]:
            settled.append([first_us, burst[-1][1]])
    return settled


def robustness(formula: str, found: Signals) -> list[list[float]]:
    """The monitor's answer over time: above 0 where the formula is true."""
    monitor = rtamt.StlDenseTimeOfflineSpecification()
    for name in found:
        monitor.declare_var(name, "float")
    monitor.spec = formula
    monitor.parse()
    return monitor.evaluate(*([name, steps] for name, steps in found.items()))


def holds(formula: str, found: Signals) -> bool:
    """Whether the formula is true at the beginning of the signals."""
    return robustness(formula, found)[0][1] > 0


def truth(formula: str, found: Signals) -> list[list[float]]:
    """Where a formula is true, as a signal of its own, so that it need not be worked out again."""
    steps = [[t, float(value > 0)] for t, value in robustness(formula, found)]
    last = max(signal[-1][0] for signal in found.values())
    return [s for s in steps if s[0] < last] + [[last, steps[-1][1]]]


def on(name: str) -> str:
    return f"({name} >= 0.5)"


def off(name: str) -> str:
    return f"({name} < 0.5)"


def begins(name: str) -> str:
    """True for the one microsecond in which the signal goes on."""
    return f"({on(name)} and historically[1:1]{off(name)})"


def ends(name: str) -> str:
    return f"({off(name)} and historically[1:1]{on(name)})"


@dataclass(frozen=True)
class Timed:
    """Whenever `trigger`: `stays` until the least time, `comes` by the most."""

    requirement: str
    output: str | None
    trigger: str
    stays: str
    comes: str
    limits: Interval

    def parts(self, found: Signals) -> Signals:
        """What the limits are about, each as one signal."""
        named = {"trigger": self.trigger, "stays": self.stays, "comes": self.comes}
        return {name: truth(formula, found) for name, formula in named.items()}

    def met(self, parts: Signals, inside_us: int = 0) -> bool:
        """Whether both limits are kept, each moved inwards by so much (negative: outwards).

        A least time of 0 is no limit.
        """
        most = in_time(parts, self.limits.max_us - inside_us)
        least = self.limits.min_us == 0 or not_before(parts, self.limits.min_us + inside_us)
        return most and least

    def margin_us(self, parts: Signals) -> int | None:
        """The distance to the nearer limit, by moving each until the verdict flips; None: it never comes."""
        widest = 4 * self.limits.max_us
        if not in_time(parts, widest):
            return None
        first = flips(lambda x: in_time(parts, x), widest)
        margins = [self.limits.max_us - first]
        if self.limits.min_us:
            margins.append(flips(lambda x: not not_before(parts, x), widest) - 1 - self.limits.min_us)
        return min(margins)


def in_time(parts: Signals, within_us: int) -> bool:
    """Whenever triggered, it comes within so long."""
    return holds(f"always({on('trigger')} implies (eventually[0:{within_us}]{on('comes')}))", parts)


def not_before(parts: Signals, least_us: int) -> bool:
    """Whenever triggered, it stays up to, and not at, that many us later."""
    if least_us <= 0:
        return True
    return holds(f"always({on('trigger')} implies (always[0:{least_us - 1}]{on('stays')}))", parts)


def flips(true_from: Callable[[int], bool], most: int) -> int:
    """The least whole number at which a verdict that changes once has become true, by bisection."""
    low, high = -1, most
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if true_from(middle) else (middle, high)
    return high


def requirements(parameters: Parameters) -> dict[str, Timed]:
    """What the furnace board must do, for a run in which a leak is a leak and a low is a low at once."""
    t = parameters.timing
    assert t.trip is not None and t.clear is not None and t.hold is not None
    slowest = max(o.react_on.max_us for o in parameters.outputs)
    hold = Interval(t.clear.min_us + t.hold.min_us, t.clear.max_us + t.hold.max_us + slowest)
    normal = (
        f"(historically[0:{t.warm_up.max_us}]{on('supply')} "
        f"and historically[0:{hold.max_us}]({off('supply')} or ({off('leak')} and {off('lost')})))"
    )
    found: dict[str, Timed] = {}
    for o in parameters.outputs:
        name, call = f"out_{o.name.lower()}", f"call_{o.name.lower()}"
        found[f"follow {o.name} on"] = Timed(
            "follow", o.name, f"({begins(call)} and {normal})", off(name), on(name), o.follow_on
        )
        found[f"follow {o.name} off"] = Timed(
            "follow", o.name, f"({ends(call)} and {normal})", on(name), off(name), o.follow_off
        )
        stays, comes = (off(name), on(name)) if o.name == "G" else (on(name), off(name))
        before = f"historically[1:1]({stays} and {off('leak')} and {off('lost')})"
        found[f"trip {o.name}"] = Timed(
            "trip", o.name, f"({begins('leak')} and {before})", stays, comes, o.trip
        )
    undisturbed = f"(always[0:{hold.max_us}]{on('low')})"
    mitigating = f"(historically[1:{t.trip.max_us}]{on('leak')})"
    found["hold"] = Timed(
        "hold", None, f"({begins('low')} and {mitigating} and {undisturbed})",
        f"({off('out_w')} and {on('out_g')})", f"({on('out_w')} or {off('out_g')})", hold,
    )  # fmt: skip
    return found


def blocked(name: str, trip_max_us: int) -> str:
    """With a leak that has lasted that long the output is off."""
    return f"always((historically[0:{trip_max_us}]{on('leak')}) implies {off(f'out_{name.lower()}')})"


def worst(verdicts: Sequence[str]) -> str:
    order = ("pass", "inconclusive", "fail")
    return max(verdicts, key=order.index, default="pass")
