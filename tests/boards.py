"""Two invented boards as parameters, for tests that need no YAML.

The same figures stand in `profiles/` (a test holds the two to each other).
Every name and number is invented by us.
"""

from __future__ import annotations

from dataclasses import replace

from firmware_ref.parameters import (
    Band,
    Button,
    Gesture,
    Interval,
    Light,
    Mode,
    Output,
    Parameters,
    Policy,
    Rules,
    Sensor,
    Timing,
)

MS = 1_000
S = 1_000_000
MIN = 60 * S


def around(nominal_us: int, tolerance_us: int) -> Interval:
    return Interval(nominal_us - tolerance_us, nominal_us + tolerance_us)


def within(max_us: int) -> Interval:
    return Interval(0, max_us)


def policies(
    unpowered: str, start_up: str, normal: str, leak: str, hold: str, fault: str, test: str = ""
) -> dict[Mode, Policy]:
    # Where there is no self-test its policy is that of normal.
    words = (unpowered, start_up, normal, leak, hold, fault, test or normal)
    return dict(zip(Mode, map(Policy, words), strict=True))


def output(
    name: str, feed: str, modes: dict[Mode, Policy], limit_us: int, trip: Interval, loss: Interval
) -> Output:
    limit = within(limit_us)
    return Output(
        name=name, kind="ac", feed=feed, call=name, modes=modes,
        follow_on=limit, follow_off=limit, react_on=limit, react_off=limit, trip=trip, loss=loss,
    )  # fmt: skip


def furnace() -> Parameters:
    """Split-system furnace board, analog sensor."""
    trip, loss = Interval(2 * S, 6 * S), Interval(3 * S, 9 * S)
    blocked = policies("off", "off", "follow", "off", "off", "off")
    fan = policies("off", "off", "follow", "on", "on", "on")
    return Parameters(
        name="invented-split-furnace",
        frequency_hz=60,
        calls_fed_from="bench",
        calls=("Y", "W", "G"),
        outputs=(
            output("Y", "call", blocked, 250 * MS, trip, loss),
            output("W", "call", blocked, 250 * MS, trip, loss),
            output("G", "supply", fan, 250 * MS, trip, loss),
        ),
        sensors=(
            Sensor(
                name="1", kind="analog", lost_by=frozenset({"open", "short"}),
                points=((0.0, 500_000), (100.0, 4_500_000)), max_uv=5_000_000,
                trip=Band(1_140_000, 1_300_000), clear=Band(820_000, 980_000), load_uv=20_000,
            ),
        ),
        timing=Timing(
            boot=within(1 * S), warm_up=around(10 * S, 2 * S), trip=trip, clear=around(5 * S, 2 * S),
            hold=around(6 * MIN, 5 * S), loss=loss, return_=around(5 * S, 2 * S),
            ride_through=Interval(20 * MS, 200 * MS), glitch_us=30 * MS,
        ),
        rules=Rules(
            lost_when="any", hold_on_band="restart", hold_when_lost="restart", after_fault="normal",
            latching=False, after_supply_loss="restart_hold", backfeed=False,
        ),
        must_prove=("follow:Y", "follow:W", "follow:G", "trip:Y", "trip:W", "trip:G", "blocked:Y", "blocked:W",
                    "forced:G", "hold", "re-leak", "loss"),
    )  # fmt: skip


def air_handler() -> Parameters:
    """The shipped air-handler board without its button: supervised contact sensor, latching sensor-fault with heat."""
    trip, loss = Interval(1 * S, 5 * S), Interval(2 * S, 10 * S)
    cooling = policies("off", "off", "follow", "off", "off", "off")
    heat = policies("off", "off", "follow", "off", "off", "follow")
    fan = policies("off", "on", "follow", "on", "on", "on")
    return Parameters(
        name="invented-air-handler",
        frequency_hz=60,
        calls_fed_from="bench",
        calls=("Y", "W", "G"),
        outputs=(
            output("Y", "call", cooling, 400 * MS, trip, loss),
            output("W", "call", heat, 400 * MS, trip, loss),
            output("G", "supply", fan, 400 * MS, trip, loss),
        ),
        sensors=(Sensor(name="1", kind="supervised", lost_by=frozenset({"open", "short"})),),
        timing=Timing(
            boot=within(2 * S), warm_up=around(20 * S, 3 * S), trip=trip, clear=around(8 * S, 3 * S),
            hold=around(8 * MIN, 5 * S), loss=loss, return_=around(6 * S, 2 * S),
            ride_through=Interval(20 * MS, 300 * MS), glitch_us=30 * MS,
        ),
        rules=Rules(
            lost_when="any", hold_on_band="continue", hold_when_lost="run", after_fault="normal",
            latching=True, reset_supply_off_us=10 * S, after_supply_loss="resume", backfeed=False,
        ),
        light=Light(
            codes=dict(zip(Mode, ("dark", "dark", "steady", "5 flashes", "2 flashes", "4 flashes"), strict=False)),
            on=around(250 * MS, 50 * MS), off=around(250 * MS, 50 * MS), pause=around(1_200 * MS, 200 * MS),
            latency=within(5 * S),
        ),
        must_prove=("follow:Y", "follow:W", "follow:G", "trip:Y", "trip:W", "trip:G", "blocked:Y", "blocked:W",
                    "forced:G", "hold", "re-leak", "loss"),
    )  # fmt: skip


def buttoned_air_handler() -> Parameters:
    """The shipped air-handler board: its button starts a self-test, recalls, clears, and resets a latched fault."""
    plain = air_handler()
    test = {"Y": Policy.OFF, "W": Policy.OFF, "G": Policy.ON}
    window = around(3 * S, 200 * MS)
    assert plain.light is not None
    return replace(
        plain,
        outputs=tuple(replace(o, modes={**o.modes, Mode.SELF_TEST: test[o.name]}) for o in plain.outputs),
        timing=replace(plain.timing, self_test=around(25 * S, 2 * S)),
        rules=replace(plain.rules, leak_in_self_test="ends", loss_in_self_test="ends"),
        button=Button(
            press=Interval(20 * MS, 80 * MS), acts=within(500 * MS),
            gestures={
                "self-test": Gesture(3, window), "recall": Gesture(2, window),
                "clear-faults": Gesture(press=around(8 * S, 300 * MS)),
                "reset": Gesture(press=around(4 * S, 300 * MS)),
            },
        ),
        light=replace(plain.light, codes={**plain.light.codes, Mode.SELF_TEST: "7 flashes"}),
    )  # fmt: skip


def buttoned_furnace() -> Parameters:
    """The furnace board with a button that only starts a self-test and recalls: a long press, and a press."""
    plain = furnace()
    test = {"Y": Policy.OFF, "W": Policy.OFF, "G": Policy.OFF}
    return replace(
        plain,
        outputs=tuple(
            replace(o, modes={**o.modes, Mode.SELF_TEST: test[o.name]}) for o in plain.outputs
        ),
        timing=replace(plain.timing, self_test=around(20 * S, 2 * S)),
        rules=replace(plain.rules, leak_in_self_test="ends", loss_in_self_test="waits"),
        button=Button(
            press=Interval(20 * MS, 80 * MS), acts=within(500 * MS),
            gestures={"self-test": Gesture(press=around(2 * S, 200 * MS)), "recall": Gesture(1)},
        ),
    )  # fmt: skip
