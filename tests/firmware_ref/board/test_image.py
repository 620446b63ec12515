"""The parameter image: one for each profile the hardware can carry, and one sentence for each it cannot."""

from __future__ import annotations

import re
import struct
from collections.abc import Callable
from dataclasses import replace

import pytest

from bench.profile import load
from firmware_ref.board.image import Unfit, crc16, image
from firmware_ref.parameters import Gesture, Interval, Mode, Parameters, Policy, Restart, SensorSupply
from tests.boards import air_handler, furnace
from tests.firmware_ref.board.core import FIRMWARE, CoreBoard
from tests.firmware_ref.board.rig import Rig

#: Shipped profiles that this board can be.
FIT = ("invented-split-furnace", "invented-air-handler", "invented-packaged-unit", "invented-zoned-coil")


def test_the_check_is_the_published_one() -> None:
    # CRC-16/IBM-3740 of the nine digits.
    assert crc16(b"123456789") == 0x29B1


@pytest.mark.parametrize("name", FIT)
def test_the_shipped_profiles_fit(name: str) -> None:
    table = image(load(name).parameters)
    length = re.search(r"IMAGE_BYTES = (\d+)", (FIRMWARE / "core" / "parameters.h").read_text())
    assert length is not None and len(table) == int(length[1])
    assert crc16(table[:-2]) == struct.unpack("<H", table[-2:])[0]


def test_the_middle_of_each_interval_less_what_the_hardware_takes() -> None:
    table = image(furnace())
    head = struct.unpack("<BB3B10I", table[:45])
    assert struct.unpack("<B4H", table[45:54]) == (0b11001, 1_220, 900, 250, 4_750)
    assert table[54:63] == bytes(9)  # no second sensor
    assert head[5:] == (495, 9_995, 3_988, 4_995, 360_000, 5_988, 4_995, 110, 0, 30_000)


def test_the_gestures_of_the_profile() -> None:
    table = image(load("invented-packaged-unit").parameters)
    assert struct.unpack("<I", table[41:45]) == (30_000,)
    # A press, then self-test, recall, clearing, reset.
    assert struct.unpack("<HBHBHBHBH", table[472:486]) == (65, 3, 3_000, 2, 3_000, 0, 8_000, 0, 0)


@pytest.mark.parametrize("at", [0, 1, 30, 200, 381, 383])
def test_a_damaged_image_moves_nothing(at: int) -> None:
    table = bytearray(image(air_handler()))
    table[at] ^= 0x10
    board = CoreBoard(air_handler(), table=bytes(table))
    rig = Rig(air_handler(), board=board).on("Y", "W", "G").gas("leak").wait(0.1).main(True).wait(30)
    assert rig.shows() == "" and rig.moves() == []
    assert not rig.board.resets  # it is not the watchdog that keeps it quiet


def test_a_falling_sensor() -> None:
    plain = furnace()
    sensor = replace(
        plain.sensors[0],
        points=((0.0, 4_500_000), (100.0, 500_000)),
        trip=replace(plain.sensors[0].trip, low_uv=3_700_000, high_uv=3_860_000),  # type: ignore[type-var]
        clear=replace(plain.sensors[0].clear, low_uv=4_020_000, high_uv=4_180_000),  # type: ignore[type-var]
    )
    falling = replace(plain, sensors=(sensor,))
    board = CoreBoard(falling)
    board.sensor("1", 4_200_000, 0)
    board.supply(True, 1_000)
    board.advance(13_000_000)
    assert board.mode is Mode.NORMAL
    board.sensor("1", 3_650_000, 13_000_000)
    board.advance(18_000_000)
    assert board.mode is Mode.LEAK_ACTIVE
    board.sensor("1", 4_200_000, 18_000_000)
    board.advance(24_000_000)
    assert board.mode is Mode.POST_LEAK_HOLD


def other_sensor(p: Parameters) -> Parameters:
    return replace(p, sensors=(*p.sensors, replace(p.sensors[0], name="3")))


def ratiometric(p: Parameters) -> Parameters:
    supply = SensorSupply(3_300_000, 3_200_000, 3_400_000)
    return replace(p, sensors=(replace(p.sensors[0], supply=supply),))


def from_zero(p: Parameters) -> Parameters:
    return replace(p, sensors=(replace(p.sensors[0], points=((0.0, 0), (100.0, 4_500_000))),))


def to_the_top(p: Parameters) -> Parameters:
    return replace(p, sensors=(replace(p.sensors[0], points=((0.0, 500_000), (100.0, 5_000_000))),))


def more_outputs(p: Parameters) -> Parameters:
    return replace(p, outputs=(*p.outputs, *(replace(p.outputs[0], name=f"H{n}") for n in range(5, 11))))


def more_calls(p: Parameters) -> Parameters:
    return replace(p, calls=(*p.calls, *(f"H{n}" for n in range(5, 11))))


def passes_unpowered(p: Parameters) -> Parameters:
    y = p.output("Y")
    return replace(p, outputs=(replace(y, modes={**y.modes, Mode.UNPOWERED: Policy.FOLLOW}), *p.outputs[1:]))


def too_fast(p: Parameters) -> Parameters:
    return replace(p, outputs=(replace(p.output("Y"), follow_on=Interval(0, 30_000)), *p.outputs[1:]))


def timing(**changes: Interval) -> Callable[[Parameters], Parameters]:
    return lambda p: replace(p, timing=replace(p.timing, **changes))  # type: ignore[arg-type]


def long_reset(p: Parameters) -> Parameters:
    return replace(p, rules=replace(p.rules, latching=True, reset_supply_off_us=60_000_000))


def contacts(**changes: object) -> Callable[[Parameters], Parameters]:
    def change(p: Parameters) -> Parameters:
        modes = dict.fromkeys(p.outputs[0].modes, Policy.OFF)
        no = replace(p.outputs[0], name="alarm.no", kind="contact-no", feed="own", call=None, modes=modes)
        return replace(p, outputs=(*p.outputs, replace(no, **changes)))  # type: ignore[arg-type]

    return change


def late_to_open(p: Parameters) -> Parameters:
    modes = dict.fromkeys(p.outputs[0].modes, Policy.OFF)
    with_no = contacts(modes=modes, trip=None, loss=None)(p)
    nc = replace(
        with_no.outputs[-1], name="alarm.nc", kind="contact-nc", modes={**modes, Mode.UNPOWERED: Policy.ON}
    )
    return replace(with_no, outputs=(*with_no.outputs, replace(nc, react_off=Interval(0, 900_000))))


def button(**changes: object) -> Callable[[Parameters], Parameters]:
    def change(p: Parameters) -> Parameters:
        plain = load("invented-packaged-unit").parameters.button
        assert plain is not None
        return replace(p, button=replace(plain, **changes))  # type: ignore[arg-type]

    return change


def both_closed(p: Parameters) -> Parameters:
    on = dict.fromkeys(p.outputs[0].modes, Policy.ON)
    with_no = contacts(modes={**on, Mode.UNPOWERED: Policy.OFF})(p)
    nc = replace(with_no.outputs[-1], name="alarm.nc", kind="contact-nc", modes=on)
    return replace(with_no, outputs=(*with_no.outputs, nc))


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (other_sensor, "inputs for 1 and 2 only"),
        (ratiometric, "ratiometric"),
        (from_zero, "takes for a short"),
        (to_the_top, "takes for open"),
        (more_outputs, "no terminal is left for the output H10"),
        (more_calls, "no terminal is left for the call H10"),
        (passes_unpowered, "let go without supply"),
        (too_fast, "follows its call in 15 ms"),
        (timing(boot=Interval(0, 8_000)), "boot takes 4 ms"),
        (timing(ride_through=Interval(0, 40_000)), "ride-through"),
        (long_reset, "capacitor"),
        (contacts(kind="contact-nc"), "not at rest"),
        (contacts(restart=Restart(frozenset({"release"}), Interval(0, 1))), "restart delay"),
        (contacts(modes={m: Policy.FOLLOW if m is Mode.NORMAL else Policy.OFF for m in Mode}), "follows a call"),
        (both_closed, "closed in one mode"),
        (late_to_open, "alarm.no closes within 250 ms after a change of mode; this board first opens alarm.nc"),
        (button(press=Interval(4_000, 10_000)), "a press of the button lasts 7 ms"),
        (button(gestures={"recall": Gesture(9, Interval(70_000_000, 80_000_000))}), "for recall takes 75000 ms"),
    ],
)  # fmt: skip
def test_what_the_hardware_cannot_carry_is_refused_in_one_sentence(
    change: Callable[[Parameters], Parameters], said: str
) -> None:
    with pytest.raises(Unfit) as refusal:
        image(change(furnace()))
    text = str(refusal.value)
    assert said in text and text.startswith("invented-split-furnace") and "\n" not in text


def test_a_trip_too_short_for_the_filter_is_refused() -> None:
    plain = furnace()
    short = Interval(0, 20_000)
    outputs = tuple(replace(o, trip=short) for o in plain.outputs)
    with pytest.raises(Unfit, match="trip is shorter"):
        image(replace(plain, outputs=outputs, timing=replace(plain.timing, trip=short)))
