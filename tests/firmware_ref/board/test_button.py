"""The service button at the firmware: what is a gesture, what it asks for, and in which mode it leads anywhere."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import pytest

from firmware_ref.parameters import Button, Gesture, Interval, Mode, Parameters
from tests.boards import buttoned_air_handler, furnace
from tests.firmware_ref.board.core import CoreBoard
from tests.firmware_ref.board.rig import Rig

#: The gestures of the air handler: three presses within 3 s, two, 8 s, 4 s.
LONG_ENOUGH, SELF_TEST_S = 3.2, 25.0


def board(**rules: object) -> Parameters:
    plain = buttoned_air_handler()
    return replace(plain, rules=replace(plain.rules, **rules))  # type: ignore[arg-type]


def up(parameters: Parameters | None = None) -> Rig:
    return Rig(parameters or board()).up("Y", "W")


def in_self_test(rig: Rig) -> Rig:
    """In the self-test."""
    rig.press(0.2, 0.2, 0.2, 0.2, 0.2).wait(LONG_ENOUGH)
    assert rig.mode is Mode.SELF_TEST
    return rig


def faulted(rig: Rig) -> Rig:
    """In a latched fault, the sensor good again."""
    rig.lose().gas("clear").wait(9)
    assert rig.mode is Mode.SENSOR_FAULT
    return rig


# -- what is a gesture -----------------------------------------------------------------------


def test_three_presses_start_the_self_test_once_no_fourth_can_belong_to_them() -> None:
    rig = up()
    began = rig.t
    rig.press(0.2, 0.2, 0.2, 0.2, 0.2).wait(1.9)
    assert rig.mode is Mode.NORMAL
    rig.wait(0.2)
    assert rig.mode is Mode.SELF_TEST
    rig.wait(1)
    assert rig.shows() == "G"
    # The third second, debounced beginning, then half of what the outputs may take.
    assert rig.move("G", True, began) == pytest.approx(3.0 + 0.2, abs=0.02)


@pytest.mark.parametrize(
    "spans",
    [
        (0.2, 0.2, 0.2),
        (0.2,) * 7,
        (0.2, 1.3, 0.2, 1.3, 0.2),  # the third begins 3.0 s after the first, and the next 0.1 s later
        (0.2, 0.03, 0.2, 0.2, 0.2),  # an opening too short to be one
        (0.03, 0.2, 0.2, 0.2, 0.2),  # a press too short to be one
        (0.2, 0.2, 0.2, 0.2, 4.5),  # the last is a long one
    ],
)  # fmt: skip
def test_what_is_no_gesture_for_it_starts_none(spans: tuple[float, ...]) -> None:
    spans = tuple(1.4 if s == 1.3 else s for s in spans)
    rig = up().press(*spans).wait(8)
    assert rig.mode is Mode.NORMAL


def test_bounces_are_no_presses() -> None:
    rig = up()
    for _ in range(2):
        rig.press(*(0.004,) * 9, 0.2, *(0.004,) * 9).wait(0.2)
    assert rig.wait(8).mode is Mode.NORMAL  # two presses, not more


def test_two_gestures_one_after_the_other_are_two() -> None:
    rig = up().press(0.2, 0.2, 0.2).wait(2.8)  # a recall, just over
    assert in_self_test(rig).mode is Mode.SELF_TEST


def test_a_single_press_acts_as_soon_as_it_is_over_where_nothing_else_is_counted() -> None:
    plain = board()
    assert plain.button is not None
    gestures = {"self-test": Gesture(), "clear-faults": plain.button.gestures["clear-faults"]}
    rig = up(replace(plain, button=replace(plain.button, gestures=gestures))).press(0.2)
    assert rig.mode is Mode.NORMAL
    assert rig.wait(0.06).mode is Mode.SELF_TEST


def test_of_the_long_presses_the_longest_counts() -> None:
    rig = faulted(up())
    rig.press(8.2).wait(1)  # clears the stored fault, and does not reset
    assert rig.mode is Mode.SENSOR_FAULT
    assert rig.press(4.1).wait(1).mode is Mode.NORMAL


def test_a_button_held_for_ever_asks_for_nothing() -> None:
    rig = faulted(up())
    rig.board.button(True, round(rig.t * 1e6))
    assert rig.wait(90).mode is Mode.SENSOR_FAULT


# -- the self-test ---------------------------------------------------------------------------


def test_the_self_test_ends_by_itself_and_the_outputs_follow_again() -> None:
    rig = in_self_test(up())
    began = rig.t
    rig.wait(SELF_TEST_S + 1)
    assert rig.mode is Mode.NORMAL and rig.shows() == "YW"
    off = rig.move("G", False, began)
    assert off == pytest.approx(SELF_TEST_S - (1 + LONG_ENOUGH - 3) + 0.2, abs=0.05)


def test_calls_change_nothing_in_the_self_test_and_are_followed_after_it() -> None:
    rig = in_self_test(up()).off("Y").on("G").wait(2)
    assert rig.shows() == "G"
    assert rig.wait(SELF_TEST_S).shows() == "WG"


def test_the_light_shows_it() -> None:
    rig = in_self_test(up()).wait(6)
    since = rig.t
    rig.wait(9)
    lit = [at for _, on, at in rig.flickers() if on and at >= since]
    apart = [b - a for a, b in pairwise(lit)]
    groups = "".join("-" if gap > 1 else "." for gap in apart)
    assert "-......-" in groups  # seven flashes between two pauses


@pytest.mark.parametrize(("rule", "mode"), [("ends", Mode.LEAK_ACTIVE), ("waits", Mode.SELF_TEST)])
def test_a_leak_in_it(rule: str, mode: Mode) -> None:
    rig = in_self_test(up(board(leak_in_self_test=rule))).gas("leak").wait(5)
    assert rig.mode is mode
    rig.wait(SELF_TEST_S)
    assert rig.mode is Mode.LEAK_ACTIVE


@pytest.mark.parametrize(("rule", "mode"), [("ends", Mode.SENSOR_FAULT), ("waits", Mode.SELF_TEST)])
def test_a_lost_sensor_in_it(rule: str, mode: Mode) -> None:
    rig = in_self_test(up(board(loss_in_self_test=rule))).gas("open").wait(10)
    assert rig.mode is mode
    rig.wait(SELF_TEST_S)
    assert rig.mode is Mode.SENSOR_FAULT
    assert rig.gas("clear").wait(20).mode is Mode.SENSOR_FAULT  # latched, as any other


def test_it_begins_in_no_other_mode() -> None:
    rig = Rig(board()).gas("clear").wait(0.1).main(True).wait(3)
    gesture = (0.2, 0.2, 0.2, 0.2, 0.2)
    assert rig.press(*gesture).wait(LONG_ENOUGH).mode is Mode.START_UP
    rig = up().leak()
    assert rig.press(*gesture).wait(LONG_ENOUGH).mode is Mode.LEAK_ACTIVE
    rig.hold()
    assert rig.press(*gesture).wait(LONG_ENOUGH).mode is Mode.POST_LEAK_HOLD
    rig = faulted(up())
    assert rig.press(*gesture).wait(LONG_ENOUGH).mode is Mode.SENSOR_FAULT


def test_a_cut_of_the_supply_ends_it_and_nothing_of_it_is_remembered() -> None:
    rig = in_self_test(up()).cut(3).wait(3)
    assert rig.mode is Mode.START_UP
    assert rig.wait(25).mode is Mode.NORMAL


# -- reset, recall, clearing -----------------------------------------------------------------


def test_a_reset_is_remembered_through_a_cut() -> None:
    rig = faulted(up()).press(4.2).wait(1)
    assert rig.mode is Mode.NORMAL and rig.shows() == "YW"
    assert rig.cut(3).wait(3).mode is Mode.START_UP


@pytest.mark.parametrize("good_for", [None, 0.5])
def test_a_reset_is_refused_while_the_sensor_is_lost_or_not_yet_good_for_long(good_for: float | None) -> None:
    rig = up().lose()
    if good_for is None:
        rig.press(4.2)
    else:
        rig.board.button(True, round(rig.t * 1e6))
        rig.wait(4.2).gas("clear").wait(good_for)
        rig.board.button(False, round(rig.t * 1e6))
    assert rig.wait(2).mode is Mode.SENSOR_FAULT
    rig.gas("clear").wait(20)
    assert rig.mode is Mode.SENSOR_FAULT  # still latched


def test_without_a_latched_fault_a_reset_does_nothing() -> None:
    rig = up()
    since = rig.t
    rig.press(4.2).wait(2)
    assert rig.mode is Mode.NORMAL and rig.moves(since) == []


def test_recall_and_clearing_as_the_profile_binds_them() -> None:
    plain = replace(
        furnace(),
        light=buttoned_air_handler().light,
        button=Button(
            Interval(20_000, 80_000), Interval(0, 500_000),
            {"recall": Gesture(press=Interval(2_000_000, 2_200_000)), "clear-faults": Gesture(4, Interval(2_000_000, 3_000_000))},
        ),
    )  # fmt: skip
    rig = Rig(plain).up()
    rig.leak().hold().wait(380)
    assert rig.mode is Mode.NORMAL

    def recalled() -> int:
        since = rig.press(2.3).t
        rig.wait(12)
        lit = sum(on for _, on, at in rig.flickers() if at >= since)
        return max(0, lit - 1)  # then it is steady again

    assert recalled() == 5
    assert recalled() == 5
    rig.press(0.1, 0.1, 0.1, 0.1, 0.1, 0.1, 0.1).wait(3)
    assert recalled() == 0
    again = CoreBoard(plain)
    again.store = rig.board.store
    rig = Rig(plain, board=again).up()
    assert recalled() == 0  # cleared for good
