"""Boards that are faulty by one thing, and the requirements that each breaks.

A board is built to parameters in which one interval lies outside the profile's
by whole steps of the oracle's grid, or one rule or policy is another one; or it
has one fault of the simulated board's catalogue.
"""

from __future__ import annotations

import dataclasses
import random
from collections.abc import Iterator
from typing import NamedTuple

from bench.simulated.faults import Fault, catalogue, parse
from firmware_ref.parameters import Band, Interval, Mode, Output, Parameters, Policy

STEP_US = 1_000_000


class Flaw(NamedTuple):
    """One fault: its name, the board as it was built, what its program gets wrong.

    `breaks`: the requirements that it breaks, `where`: outputs on which any requirement may be the first.
    """

    name: str
    built: Parameters
    faults: tuple[Fault, ...]
    breaks: frozenset[str]
    where: frozenset[str] = frozenset()

    @property
    def kind(self) -> str:
        """Its name without the place it is in."""
        return self.name.partition(":")[0]


#: What an interval of the board is called, and the requirements that one outside it breaks.  An edge
#: is booked by the policy in force: so a board that is in a mode of its own while the profile has it in
#: normal breaks `follow`, and one that ought to mitigate breaks `blocked` or `forced`.
_TIMINGS = {
    "boot": "power-up trip loss",
    "warm_up": "power-up trip loss blocked hold",
    "trip": "trip re-leak blocked forced follow",
    "clear": "clear hold kept-on-loss follow",
    "hold": "hold kept-on-loss follow",
    "loss": "loss latch hold kept-on-loss follow",
    "return_": "return hold trip follow",
    "ride_through": "supply power-up follow",
}
_OUTPUT_TIMINGS = {
    "follow_on": "follow power-up hold release return restart",
    "follow_off": "follow power-up hold release return",
    "react_on": "power-up clear hold release return forced follow",
    "react_off": "power-up clear hold release return blocked follow",
    "trip": "trip re-leak blocked forced follow",
    "loss": "loss latch follow",
}
_RULES = {
    "hold_on_band": "hold",
    "hold_when_lost": "hold kept-on-loss follow",
    "latching": "latch return loss hold follow",
    "after_supply_loss": "supply power-up hold",
    "check_before_normal": "power-up trip",
    "hold_ends_only_when": "hold",
    "return_only_when": "return",
    "after_fault": "return hold follow",
    "lost_when": "loss return latch hold follow",
    "reset_supply_off_us": "latch supply power-up",
}
_ANSWERS: dict[str, tuple[object, ...]] = {
    "hold_on_band": ("continue", "pause", "restart"),
    "hold_when_lost": ("run", "pause", "restart"),
    "latching": (True, False),
    "after_supply_loss": ("resume", "restart_hold", "forget"),
    "check_before_normal": (True, False),
    "hold_ends_only_when": (None, "low"),
    "return_only_when": (None, "not-high"),
    "after_fault": ("normal", "hold"),
    "lost_when": ("any", "all"),
}
_MODES = {
    Mode.START_UP: "power-up",
    Mode.NORMAL: "follow power-up hold release return restart",
    Mode.LEAK_ACTIVE: "trip re-leak blocked forced follow",
    Mode.POST_LEAK_HOLD: "clear blocked forced hold release kept-on-loss follow",
    Mode.SENSOR_FAULT: "loss latch return hold follow",
}
#: Faults of the catalogue that a grid of seconds can show; the first four on their own outputs whatever the mode.
_CATALOGUE = {
    "stuck-on": "hold", "stuck-off": "hold", "call-dead": "hold", "crossed": "hold",
    "hold-short": "hold kept-on-loss follow", "hold-long": "hold follow", "no-restart": "re-leak trip hold blocked forced",
    "no-release": "hold follow", "slow-trip": "trip re-leak blocked forced follow",
    "trip-high": "trip re-leak blocked forced follow level", "loss-ignored": "loss latch hold kept-on-loss forced blocked",
    "loss-ends-mitigation": "kept-on-loss loss hold blocked forced", "reboots": "supply follow power-up",
}  # fmt: skip
_ANYWHERE = ("stuck-on", "stuck-off", "call-dead", "crossed")
_LEVELS = {
    "never": (Band(1_400_000, 1_410_000), None, "trip re-leak blocked forced follow"),
    "trips-between": (Band(1_000_000, 1_020_000), None, "trip re-leak follow power-up"),
    "clears-between": (None, Band(1_080_000, 1_100_000), "hold clear"),
    "never-clears": (None, Band(600_000, 610_000), "hold clear follow"),
}  # fmt: skip


def flaws_of(parameters: Parameters, rng: random.Random) -> Iterator[Flaw]:
    """Every fault that a simulated board of this profile can have, of a size drawn anew."""
    yield from built_otherwise(parameters, rng.randint(1, 2), 1)
    yield from _levels(parameters)
    yield from _catalogued(parameters, rng)


def built_otherwise(parameters: Parameters, by: int, wide: int) -> Iterator[Flaw]:
    """One interval `by` steps outside its limits and `wide` steps wide, one rule or one policy changed."""
    yield from _timings(parameters, by * STEP_US, wide * STEP_US)
    yield from _rules(parameters)
    yield from _policies(parameters)


def _words(text: str) -> frozenset[str]:
    return frozenset(text.split())


def _beside(span: Interval, by_us: int, wide_us: int) -> Iterator[tuple[str, Interval]]:
    """Intervals beyond its max, or before its min."""
    yield "late", Interval(span.max_us + by_us, span.max_us + by_us + wide_us)
    if span.min_us >= by_us:
        yield "early", Interval(max(0, span.min_us - by_us - wide_us), span.min_us - by_us)


def _timings(p: Parameters, by_us: int, wide_us: int) -> Iterator[Flaw]:
    for field, breaks in _TIMINGS.items():
        span = getattr(p.timing, field)
        if span is None:
            continue
        for side, other in _beside(span, by_us, wide_us):
            timing = dataclasses.replace(p.timing, **{field: other})
            outputs = p.outputs
            if field in ("trip", "loss"):  # every output with it
                by = other.min_us - span.min_us
                outputs = tuple(_moved(o, field, by) for o in outputs)
            built = dataclasses.replace(p, timing=timing, outputs=outputs)
            if timing.warm_up.max_us >= timing.boot.min_us:
                yield Flaw(f"{field.strip('_')}-{side}", built, (), _words(breaks))
    for output in p.outputs:
        for field, breaks in _OUTPUT_TIMINGS.items():
            span = getattr(output, field)
            if span is None or (output.kind != "ac" and field.startswith("follow")):
                continue
            for side, other in _beside(span, by_us, wide_us):
                if side == "late" or field.startswith("follow"):
                    changed = dataclasses.replace(output, **{field: other})
                    yield Flaw(f"{field}-{side}:{output.name}", _with(p, changed), (), _words(breaks))
        if output.restart is not None:
            for side, other in _beside(output.restart.delay, by_us, wide_us):
                restart = dataclasses.replace(output.restart, delay=other)
                built = _with(p, dataclasses.replace(output, restart=restart))
                yield Flaw(f"restart-{side}:{output.name}", built, (), _words("restart"))
            built = _with(p, dataclasses.replace(output, restart=None))
            yield Flaw(f"restart-none:{output.name}", built, (), _words("restart"))


def _moved(output: Output, field: str, by_us: int) -> Output:
    span = getattr(output, field)
    if span is None:
        return output
    return dataclasses.replace(
        output, **{field: Interval(max(0, span.min_us + by_us), max(0, span.max_us + by_us))}
    )


def _with(p: Parameters, changed: Output) -> Parameters:
    outputs = tuple(changed if o.name == changed.name else o for o in p.outputs)
    return dataclasses.replace(p, outputs=outputs)


def _rules(p: Parameters) -> Iterator[Flaw]:
    for field, breaks in _RULES.items():
        said = getattr(p.rules, field)
        if field == "reset_supply_off_us":
            others: list[object] = [] if said is None else [None, STEP_US]
        else:  # what is not stated cannot be broken, but a condition that is not set can be one more
            stated = said is not None or field in ("hold_ends_only_when", "return_only_when")
            others = [a for a in _ANSWERS[field] if a != said] if stated else []
        for other in others:
            rules = dataclasses.replace(p.rules, **{field: other})
            word = "never" if other is None else str(other).replace("_", "-")
            yield Flaw(
                f"{field}={word}".replace("_", "-"), dataclasses.replace(p, rules=rules), (), _words(breaks)
            )


def _policies(p: Parameters) -> Iterator[Flaw]:
    for output in p.outputs:
        kinds = [Policy.OFF]
        kinds += [Policy.FOLLOW] if output.call else []
        kinds += [Policy.ON] if output.feed != "call" else []
        for mode, breaks in _MODES.items():
            for policy in kinds:
                if policy is output.modes[mode]:
                    continue
                modes = {**output.modes, mode: policy}
                changed = dataclasses.replace(output, modes=modes)
                name = f"{mode.value}-{policy.value}:{output.name}"
                yield Flaw(f"policy-{name}", _with(p, changed), (), _words(breaks))


def _levels(p: Parameters) -> Iterator[Flaw]:
    """It never trips, takes the levels between for a leak, or for none, or never clears."""
    for name, (trip, clear, breaks) in _LEVELS.items():
        sensors = tuple(
            dataclasses.replace(s, trip=trip or s.trip, clear=clear or s.clear) for s in p.sensors
        )
        yield Flaw(f"level-{name}", dataclasses.replace(p, sensors=sensors), (), _words(breaks))


def _catalogued(p: Parameters, rng: random.Random) -> Iterator[Flaw]:
    for entry in catalogue(p):
        fault = parse(entry.name, p)
        if fault.name not in _CATALOGUE:
            continue
        if fault.name in ("hold-short", "hold-long", "slow-trip"):
            fault = dataclasses.replace(fault, size=rng.randint(1, 3) * STEP_US)
        elif fault.name == "trip-high":
            fault = dataclasses.replace(fault, size=20_000_000)
        breaks = _words(_CATALOGUE[fault.name])
        where = frozenset(fault.where) if fault.name in _ANYWHERE else frozenset()
        if fault.name == "call-dead":
            where = frozenset(o.name for o in p.outputs if o.call in fault.where)
        yield Flaw(f"{entry.name}", p, (fault,), breaks, where)
