"""Profiles by chance: everything that a profile's form allows, as parameters.

`wide` gives only what this bench can prove: every interval at least six
expected bounds wide, no level band narrower than six signal bounds.  Without
it intervals may be as narrow as relay and scan of the simulated board allow,
and timings and rules are *not stated* as often as one in eight.  `usual` has the
outputs do in each mode what published practice has them do, so that the
built-in acceptance shows every fault.
"""

from __future__ import annotations

import random
from dataclasses import replace

from bench.judge.bounds import SIGNAL_BOUND_UV, expected_bound_us
from firmware_ref.parameters import (
    ACTIONS,
    Band,
    Button,
    Gesture,
    Interval,
    Light,
    Mode,
    Output,
    Parameters,
    Policy,
    Restart,
    Rules,
    Sensor,
    Timing,
)
from tests.boards import MS, S

#: Scan and relay of the simulated board take up to 15 ms; narrower it cannot keep to.
_NARROWEST_US = 30 * MS
#: A contact bounces, and opens some milliseconds before the other closes.
_BREAK_US = 20 * MS
_NOT_STATED = 1 / 8
_BOUNDS_WIDE = 6
_ANSWERS = (Mode.LEAK_ACTIVE, Mode.POST_LEAK_HOLD, Mode.SENSOR_FAULT)


class _Chance:
    """Draws the parts of one profile."""

    def __init__(self, seed: int | str, wide: bool, usual: bool) -> None:
        self.rng = random.Random(f"profile {seed}")
        self.wide = wide
        self.usual = usual

    def happens(self, share: float) -> bool:
        return self.rng.random() < share

    def stated(self) -> bool:
        return self.wide or not self.happens(_NOT_STATED)

    def rule(self, *answers: str) -> str | None:
        return self.rng.choice(answers) if self.stated() else None

    def width(self, max_us: int, composite_us: int) -> int:
        least = _BOUNDS_WIDE * expected_bound_us(composite_us) if self.wide else _NARROWEST_US
        # Narrow enough, if usual, that a hold begun at the half of another cannot be taken for it.
        shares = (0.02, 0.1, 0.3) if self.usual else (0.02, 0.1, 0.3, 0.6)
        return max(least, round(max_us * self.rng.choice(shares)))

    def span(self, low_us: int, high_us: int, composite_us: int = 0) -> Interval:
        """An interval whose least value lies between the two."""
        low = self.rng.randint(low_us, high_us)
        return Interval(low, low + self.width(low, max(composite_us, 2 * low)))

    def within(self, low_us: int, high_us: int) -> Interval:
        return Interval(0, self.rng.randint(low_us, high_us))

    def maybe(self, span: Interval) -> Interval | None:
        return span if self.stated() else None


def random_parameters(seed: int | str, wide: bool = False, usual: bool = False) -> Parameters:
    """One profile; the same seed gives the same."""
    chance = _Chance(seed, wide, usual)
    rng = chance.rng
    calls = tuple(rng.sample(("Y", "W", "G", "Y2"), rng.randint(2 if usual else 1, 4)))
    sensors = tuple(_sensor(chance, str(n)) for n in range(1, rng.randint(1, 2) + 1))
    lossy = any(s.lost_by for s in sensors)
    hold_us = rng.choice((15 * S, 40 * S, 100 * S, 330 * S)[1 if usual else 0 :])
    composite_us = hold_us * 2 + 60 * S if wide else 0
    boot = chance.within(500 * MS, 3 * S)
    timing = Timing(
        boot=boot,
        warm_up=chance.span(boot.max_us, 20 * S, 30 * S),
        trip=chance.maybe(chance.span(300 * MS, 6 * S)),
        clear=chance.maybe(chance.span(500 * MS, 10 * S, composite_us)),
        hold=chance.maybe(chance.span(hold_us, hold_us * 5 // 4, composite_us)),
        loss=chance.maybe(chance.span(500 * MS, 8 * S)) if lossy else None,
        return_=chance.maybe(chance.span(500 * MS, 8 * S, composite_us)) if lossy else None,
        ride_through=chance.maybe(chance.span(20 * MS, 100 * MS)),
        glitch_us=rng.choice((25, 30, 50)) * MS,
    )
    outputs = _possible(tuple(_output(chance, name, calls, timing) for name in _names(rng, calls, usual)))
    rules = _rules(chance, lossy, timing)
    button = None
    if not usual:
        button, timing, rules = _with_button(_Chance(f"button {seed}", wide, usual), timing, rules, lossy)
    return Parameters(
        name=f"by-chance-{seed}",
        frequency_hz=rng.choice((50, 60)),
        calls_fed_from="bench",
        calls=calls,
        outputs=outputs,
        sensors=sensors,
        timing=timing,
        rules=rules,
        must_prove=(),
        button=button,
    )


def _with_button(
    chance: _Chance, timing: Timing, rules: Rules, lossy: bool
) -> tuple[Button | None, Timing, Rules]:
    """Half of the boards have a service button, most of these a self-test; what else is drawn is not touched."""
    rng = chance.rng
    if chance.happens(0.5):
        return None, timing, rules
    press = Interval(20 * MS, rng.randint(100, 150) * MS)
    counted = rng.sample((1, 2, 3), 3)
    gestures: dict[str, Gesture] = {}
    for action in ACTIONS:
        if action == "reset" and (not lossy or rules.latching is False):
            continue
        if chance.happens(0.2):
            continue
        if chance.happens(0.6) and counted:
            presses = counted.pop()
            within = chance.span(2 * S, 4 * S) if presses > 1 else None
            gestures[action] = Gesture(presses, within)
        else:
            least_us = max([1 * S, *(g.press.max_us for g in gestures.values() if g.press is not None)])
            gestures[action] = Gesture(press=chance.span(least_us + 500 * MS, least_us + 3 * S))
    if not gestures:
        return None, timing, rules
    button = Button(press, chance.within(200 * MS, 1 * S), gestures)
    if "self-test" not in gestures:
        return button, timing, rules
    lasts = chance.maybe(chance.span(5 * S, 20 * S, 40 * S))
    rules = replace(
        rules,
        leak_in_self_test=chance.rule("ends", "waits"),
        loss_in_self_test=chance.rule("ends", "waits") if lossy else None,
    )
    return button, replace(timing, self_test=lasts), rules


def _names(rng: random.Random, calls: tuple[str, ...], usual: bool) -> list[str]:
    names = [*calls, "X", "alarm.no", "alarm.nc"]
    if usual:
        return [*calls, *rng.sample(names[-2:], rng.randint(0, 2))][:5]
    return rng.sample(names, rng.randint(1, min(5, len(names))))


def _sensor(chance: _Chance, name: str) -> Sensor:
    rng = chance.rng
    kind = rng.choice(("analog", "analog", "contact", "supervised"))
    ways = frozenset(rng.choice((("open", "short"), ("open",), ("short",))))
    if kind != "analog":
        return Sensor(name=name, kind=kind, lost_by=ways if kind == "supervised" else frozenset())
    least = 6 * SIGNAL_BOUND_UV if chance.wide else 0
    gap = 30_000
    clear_low = rng.randint(600_000, 1_200_000)
    clear = Band(clear_low, clear_low + rng.randint(least, 200_000))
    trip_low = clear.high_uv + gap + rng.randint(0, 600_000)
    trip = Band(trip_low, trip_low + rng.randint(least, 300_000))
    points: tuple[tuple[float, int], ...] = ((0.0, 500_000), (100.0, 4_500_000))
    if chance.happens(0.3):  # more gas is less voltage
        points = ((0.0, 4_500_000), (100.0, 500_000))
        trip, clear = (Band(5_000_000 - b.high_uv, 5_000_000 - b.low_uv) for b in (trip, clear))
    return Sensor(name=name, kind=kind, lost_by=ways, points=points, trip=trip, clear=clear)


def _output(chance: _Chance, name: str, calls: tuple[str, ...], timing: Timing) -> Output:
    rng = chance.rng
    react_on, react_off = chance.within(100 * MS, 1 * S), chance.within(100 * MS, 1 * S)
    trip = _own_total(chance, timing.trip)
    loss = _own_total(chance, timing.loss)
    if name.startswith("alarm."):
        kind = "contact-no" if name == "alarm.no" else "contact-nc"
        rest = Policy.OFF if kind == "contact-no" else Policy.ON
        fixed = {m: rng.choice((Policy.OFF, Policy.ON)) for m in Mode}
        if chance.usual:  # moved by leak and fault alike
            moved = Policy.ON if rest is Policy.OFF else Policy.OFF
            fixed = {m: moved if m in _ANSWERS else rest for m in Mode}
        fixed[Mode.UNPOWERED] = rest
        return Output(
            name=name, kind=kind, feed="own", call=None, modes=fixed, follow_on=react_on, follow_off=react_off,
            react_on=react_on, react_off=react_off, trip=trip, loss=loss,
        )  # fmt: skip
    feed = rng.choice(("call", "supply"))
    held = (Policy.FOLLOW, Policy.OFF) if feed == "call" else (Policy.FOLLOW, Policy.OFF, Policy.ON)
    modes = {m: rng.choice(held) for m in Mode}
    modes[Mode.NORMAL] = Policy.FOLLOW if chance.happens(0.9) else rng.choice(held)
    modes[Mode.UNPOWERED] = Policy.FOLLOW if feed == "call" and chance.happens(0.15) else Policy.OFF
    if chance.happens(0.7):  # as published practice has it
        modes[Mode.LEAK_ACTIVE] = modes[Mode.POST_LEAK_HOLD] = rng.choice(
            [p for p in held if p is not Policy.FOLLOW]
        )
    if chance.usual:
        answer = Policy.ON if feed == "supply" else Policy.OFF
        modes |= dict.fromkeys(_ANSWERS, answer)
        modes[Mode.NORMAL] = Policy.FOLLOW
        modes[Mode.START_UP] = rng.choice((Policy.OFF, answer))
        modes[Mode.UNPOWERED] = Policy.OFF
    restart = None
    if chance.happens(0.2) and modes[Mode.START_UP] is not Policy.ON and modes[Mode.NORMAL] is not Policy.ON:
        events = ("release", "return", "power-up", "any-off")
        after = frozenset(rng.sample(events, rng.randint(1, 3)))
        restart = Restart(after, chance.span(1 * S, 30 * S, 60 * S))
    return Output(
        name=name, kind="ac", feed=feed, call=name if name in calls else rng.choice(calls), modes=modes,
        follow_on=_follow(chance), follow_off=_follow(chance, causal=feed == "call"), react_on=react_on, react_off=react_off,
        trip=trip, loss=loss, restart=restart,
    )  # fmt: skip


def _possible(outputs: tuple[Output, ...]) -> tuple[Output, ...]:
    """Totals of two alarm contacts that leave no time for one to open before the other closes are made the same."""
    no = next((o for o in outputs if o.name == "alarm.no"), None)
    if no is None:
        return outputs
    made = []
    for o in outputs:
        if o.name == "alarm.nc":
            trip = no.trip if _hardly_meet(o.trip, no.trip) else o.trip
            loss = no.loss if _hardly_meet(o.loss, no.loss) else o.loss
            o = replace(o, trip=trip, loss=loss)
        made.append(o)
    return tuple(made)


def _hardly_meet(a: Interval | None, b: Interval | None) -> bool:
    if a is None or b is None:
        return False
    return 0 <= min(a.max_us, b.max_us) - max(a.min_us, b.min_us) < _BREAK_US


def _follow(chance: _Chance, causal: bool = False) -> Interval:
    """`causal`: without a least time; a terminal fed by its call goes off with it."""
    if causal or chance.happens(0.8):
        return chance.within(100 * MS, 900 * MS)
    return chance.span(20 * MS, 400 * MS)


def _own_total(chance: _Chance, general: Interval | None) -> Interval | None:
    """Mostly the profile's general total; sometimes later than that, sometimes not stated."""
    kind = chance.rng.random()
    if general is None or kind < 0.7:
        return general
    if kind < 0.8 and not chance.wide:
        return None
    later = chance.rng.randint(0, 2 * S)
    return Interval(general.min_us + later, general.max_us + later + chance.rng.randint(0, 1 * S))


def _rules(chance: _Chance, lossy: bool, timing: Timing) -> Rules:
    rng = chance.rng
    latching = None if not chance.stated() else chance.happens(0.4)
    ride_us = 1 * S if timing.ride_through is None else timing.ride_through.max_us
    reset = rng.randint(ride_us + 1 * S, 15 * S) if latching is not False and chance.happens(0.8) else None
    rules = Rules(
        hold_on_band=chance.rule("continue", "pause", "restart"),
        hold_ends_only_when=rng.choice((None, None, "low")),
        check_before_normal=chance.happens(0.3),
        after_supply_loss=chance.rule("resume", "restart_hold", "forget"),
    )
    if not lossy:
        return rules
    return Rules(
        lost_when=rng.choice(("any", "any", "all")),
        hold_on_band=rules.hold_on_band,
        hold_when_lost=chance.rule("restart", "pause", "run"),
        hold_ends_only_when=rules.hold_ends_only_when,
        check_before_normal=rules.check_before_normal,
        return_only_when=rng.choice((None, None, "not-high")),
        after_fault=rng.choice(("normal", "normal", "hold")),
        latching=latching,
        reset_supply_off_us=reset,
        after_supply_loss=rules.after_supply_loss,
    )


def with_light(parameters: Parameters, seed: int | str) -> Parameters:
    """The same board with a light of any kind; every other thing stays as it is."""
    rng = random.Random(f"light {seed}")

    def maybe(span: Interval) -> Interval | None:
        return span if rng.random() >= _NOT_STATED else None

    def around(nominal_us: int) -> Interval:
        return Interval(round(nominal_us * 0.8), round(nominal_us * 1.2))

    def code() -> str | None:
        what = rng.choice(("dark", "steady", "flashes", "flashes", "flashes", "flashes", "not stated"))
        count = rng.randint(1, 9)
        flashing = "1 flash" if count == 1 else f"{count} flashes"
        return {"flashes": flashing, "not stated": None}.get(what, what)

    on_us, off_us = rng.randint(150 * MS, 600 * MS), rng.randint(150 * MS, 600 * MS)
    off, pause = maybe(around(off_us)), maybe(around(round(off_us * rng.uniform(3.2, 6))))
    codes = {mode: code() for mode in Mode} | {
        Mode.UNPOWERED: "dark",
        Mode.START_UP: rng.choice(("dark", code())),
    }
    latency = maybe(Interval(0, rng.randint(100 * MS, 8 * S)))
    return replace(parameters, light=Light(codes, maybe(around(on_us)), off, pause, latency))
