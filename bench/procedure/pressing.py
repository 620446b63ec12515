"""How the service button is pressed so that it surely is a gesture, and so that it surely just is not."""

from __future__ import annotations

from bench.judge.bounds import expected_bound_us
from bench.procedure.words import LONGEST_PRESS_US, SHORTEST_PRESS_US
from firmware_ref.parameters import Button

#: The relay closes up to 10 ms and opens up to 5 ms late, so a press comes out up to some 8 ms shorter or longer; ours.
RELAY_US = 15_000
#: Nobody presses quicker than this without need; ours.
_USUAL_US = 200_000
#: The fixture times presses by its own clock, which may be 0.5 % off and is known to some more only later.
_CLOCK_PPM = 6_000

#: How many presses, and how long from the first's beginning to the last's end, in us.
Pressing = tuple[int, int]


def surely(button: Button, action: str) -> Pressing:
    """The gesture bound to `action`, well inside what must count."""
    gesture = button.gestures[action]
    if gesture.press is not None:
        return 1, beyond_us(gesture.press.max_us)
    least_us = beyond_us(button.press.max_us)
    spans = 2 * gesture.presses - 1
    if gesture.within is None:
        return 1, min(max(least_us, _USUAL_US), max(least_us, _shortest_long_us(button) // 2))
    most_us = (gesture.within.min_us - _margin_us(gesture.within.min_us)) // spans
    return gesture.presses, spans * min(max(least_us, _USUAL_US), most_us)


def just_too_little(button: Button, action: str) -> list[tuple[str, Pressing]]:
    """Pressings that by so much as can be told are not the gesture of `action`, nor one that moves an output.

    With what each lacks, in words.
    """
    gesture = button.gestures.get(action)
    if gesture is None:
        return []
    found: list[tuple[str, Pressing]] = []
    count, us = surely(button, action)
    each_us = us // (2 * count - 1)
    if gesture.press is not None:
        found.append(("pressed just too shortly", (1, below_us(gesture.press.min_us))))
    elif count == 1:
        found.append(("closed just too shortly for a press", (1, below_us(button.press.min_us))))
    else:
        found.append(("one press too few", (count - 1, each_us * (2 * count - 3))))
        assert gesture.within is not None
        # From the end of the first press to the beginning of the last there are 2 n - 3 spans.
        slow_us = beyond_us(gesture.within.max_us) // (2 * count - 3) + RELAY_US
        if slow_us < _shortest_long_us(button) - RELAY_US:
            found.append(("pressed just too slowly", (count, slow_us * (2 * count - 1))))
    return [
        (why, pressing)
        for why, pressing in found
        if _can_be_made(pressing) and not _moves_by(button, pressing)
    ]


def _can_be_made(pressing: Pressing) -> bool:
    count, us = pressing
    return SHORTEST_PRESS_US <= us // (2 * count - 1) <= LONGEST_PRESS_US


def _moves_by(button: Button, pressing: Pressing) -> bool:
    """Whether the pressing may be another gesture that moves an output."""
    count, us = pressing
    for action in ("self-test", "reset"):
        gesture = button.gestures.get(action)
        if gesture is None:
            continue
        if gesture.press is not None:
            if count == 1 and us > gesture.press.min_us - _margin_us(us):
                return True
        elif gesture.presses <= count and us // (2 * count - 1) > button.press.min_us - _margin_us(us):
            within = gesture.within
            apart_us = us // (2 * count - 1) * (2 * gesture.presses - 3)
            if within is None or apart_us < within.max_us + _margin_us(us):
                return True
    return False


def beyond_us(limit_us: int) -> int:
    """A press that surely is longer."""
    return limit_us + _margin_us(limit_us)


def below_us(limit_us: int) -> int:
    """A press that surely is shorter."""
    return limit_us - _margin_us(limit_us)


def _margin_us(span_us: int) -> int:
    return 2 * expected_bound_us(span_us) + RELAY_US + span_us * _CLOCK_PPM // 1_000_000


def _shortest_long_us(button: Button) -> int:
    return min((g.press.min_us for g in button.gestures.values() if g.press is not None), default=1 << 40)
