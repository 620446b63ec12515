"""Random sequences that aim at open windows: most waits end near a limit of something that may be running."""

from __future__ import annotations

import random
from collections.abc import Sequence

from bench.procedure import levels
from bench.simulated.draw import whole
from bench.simulated.faults import Fault
from bench.simulated.traits import Spans
from bench.trace.records import Voltage
from firmware_ref.parameters import Button, Interval, Parameters, Sensor
from tests.judge.stand import Stand

_S = 1_000_000
#: Stamps of one channel closer than this could change places.
_APART_US = 10_000


def random_run(
    parameters: Parameters, seed: int, draw: str = "anywhere", steps: int = 20, faults: tuple[Fault, ...] = (),
    errors: bool = True,
) -> Stand:  # fmt: skip
    """One board through `steps` random stimuli."""
    stand = Stand(parameters, seed, draw, faults, errors)
    _Sequence(stand, random.Random(f"sequence {seed}")).run(steps)
    return stand


def signals(sensor: Sensor) -> list[str | int]:
    """Signals worth giving: clear and leak twice each, lost, and for analog ones bands, their ends, between."""
    if sensor.kind != "analog":
        return ["normal", "normal", "leak", "leak", *sorted(sensor.lost_by)]
    assert sensor.trip is not None and sensor.clear is not None
    found: list[str | int] = []
    for word in ("clear", "leak"):
        value = levels.signal(sensor, word)
        assert isinstance(value, Voltage)
        found += [value.value_uv] * 3
    trip, clear = sensor.trip, sensor.clear
    found += [(trip.low_uv + trip.high_uv) // 2, (clear.low_uv + clear.high_uv) // 2]
    found.append((min(trip.high_uv, clear.high_uv) + max(trip.low_uv, clear.low_uv)) // 2)
    return [*found, *sorted(sensor.lost_by), *sorted(sensor.lost_by)]


class _Sequence:
    def __init__(self, stand: Stand, rng: random.Random) -> None:
        self.stand, self.rng = stand, rng
        p = stand.parameters
        s = Spans.of(p)
        react = Interval(0, s.react_max_us)
        hold = _sum(s.clear, s.hold)
        self.after = {
            "sensor": [
                s.trip, s.clear, s.loss, s.return_, hold, _sum(hold, react), _sum(s.return_, s.trip),
                _sum(s.return_, hold), s.hold,
            ],
            "supply": [p.timing.boot, p.timing.warm_up, _sum(p.timing.warm_up, s.trip), s.ride_through],
            "call": [i for o in p.outputs for i in (o.follow_on, o.follow_off)],
            "edge": [s.hold, react, *(o.restart.delay for o in p.outputs if o.restart)],
        }  # fmt: skip
        reset = p.rules.reset_supply_off_us
        if reset is not None:
            self.after["supply"].append(Interval(reset, reset))
        self.begun: list[tuple[str, int]] = []
        if p.timing.self_test is not None:
            self.after["button"] = [p.timing.self_test, _sum(p.timing.self_test, react)]
        self.signals = {sensor.name: signals(sensor) for sensor in p.sensors}

    def run(self, steps: int) -> None:
        stand, rng = self.stand, self.rng
        for name, choices in self.signals.items():
            stand.wait(rng.randint(_APART_US, 200_000))
            stand.sensor(name, rng.choice(choices))
        for _ in range(steps):
            stand.wait(self._pause())
            self._stimulus()
        stand.wait(rng.choice((rng.randint(0, 2 * _S), self._pause(), self._pause() + 20 * _S)))

    def _stimulus(self) -> None:
        stand, rng = self.stand, self.rng
        if stand.parameters.button is not None and rng.random() < 0.25:
            self._press(stand.parameters.button)
            return
        kind = rng.random()
        if kind < (0.07 if stand.supplied else 0.7):
            stand.supply(not stand.supplied)
            self.begun.append(("supply", stand.now_us))
        elif kind < 0.5:
            name = rng.choice(list(stand.calls))
            stand.call(name, not stand.calls[name])
            self.begun.append(("call", stand.now_us))
        else:
            name = rng.choice(list(self.signals))
            stand.sensor(name, rng.choice(self.signals[name]))
            self.begun.append(("sensor", stand.now_us))

    def _press(self, button: Button) -> None:
        """A gesture of the board, or something near it; now and then something else happens meanwhile."""
        stand, rng = self.stand, self.rng
        gesture = rng.choice(list(button.gestures.values()))
        if gesture.press is not None:
            presses, each = 1, [_near(rng, gesture.press), 0]
        else:
            presses = max(1, gesture.presses + rng.choice((0, 0, 0, 0, -1, 1)))
            whole_us = _near(rng, gesture.within) if gesture.within is not None else 1 * _S
            usual_us = max(button.press.max_us * 6 // 5, whole_us // (2 * presses))
            each = [usual_us if rng.random() < 0.85 else _near(rng, button.press) for _ in range(2 * presses)]
        for place in range(presses):
            stand.button(True)
            self._pass(each[2 * place])
            stand.button(False)
            if place < presses - 1:
                self._pass(each[2 * place + 1])
        if "button" in self.after:
            self.begun.append(("button", stand.now_us))
        if rng.random() < 0.7:
            stand.wait(button.window.max_us + rng.randint(0, 2 * _S))

    def _pass(self, us: int) -> None:
        stand, rng, us = self.stand, self.rng, max(_APART_US, us)
        if us > 3 * _APART_US and rng.random() < 0.03:
            first = rng.randint(_APART_US, us - _APART_US)
            stand.wait(first)
            if rng.random() < 0.2:
                stand.supply(not stand.supplied)
            else:
                name = rng.choice(list(stand.calls))
                stand.call(name, not stand.calls[name])
            us -= first
        stand.wait(us)

    def _pause(self) -> int:
        rng, now_us = self.rng, self.stand.now_us
        kind = rng.random()
        if kind < 0.15:
            return rng.randint(_APART_US, 600_000)
        if kind < 0.4:
            return rng.randint(1 * _S, 15 * _S)
        edges = [("edge", t) for t, ch, _ in self.stand.seen[-6:] if ch.startswith(("out.", "alarm."))]
        targets = [t for kind_, at_us in [*self.begun[-6:], *edges] for t in self._targets(kind_, at_us)]
        targets = [t for t in targets if t >= now_us + _APART_US]
        # The nearer of two: so that short timers are met as often as the hold.
        chosen = [rng.choice(targets) for _ in range(2)] if targets else [now_us + 2 * _S]
        return min(chosen) - now_us

    def _targets(self, kind: str, at_us: int) -> Sequence[int]:
        rng = self.rng
        span = rng.choice(self.after[kind])
        inside = whole(rng, span.min_us, span.max_us)
        return [at_us + near + whole(rng, -30_000, 30_000) for near in (span.min_us, span.max_us, inside)]


def _near(rng: random.Random, span: Interval) -> int:
    """Around an interval: at its ends, inside, well outside."""
    inside = rng.randint(span.min_us, span.max_us)
    edge = rng.choice((span.min_us, span.max_us, inside)) + rng.randint(-20_000, 20_000)
    return max(_APART_US, rng.choice((edge, edge, span.min_us * 4 // 5, span.max_us * 6 // 5)))


def _sum(*spans: Interval) -> Interval:
    return Interval(sum(s.min_us for s in spans), sum(s.max_us for s in spans))
