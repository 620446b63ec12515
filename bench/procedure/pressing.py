"""How the service button is pressed so that it surely is a gesture, and so that it surely just is not."""

from __future__ import annotations

from bench.judge.bounds import expected_bound_us
from bench.procedure.words import MOST_PRESSES
from firmware_ref.parameters import Button

#: The relay closes up to 10 ms and opens up to 5 ms late, so a press comes out up to some 8 ms shorter or longer; ours.
RELAY_US = 15_000
#: Nobody presses quicker than this without need; ours.
_USUAL_US = 200_000

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


def just_too_little(button: Button) -> list[tuple[str, Pressing]]:
    """Pressings that by so much as can be told are no gesture that moves an output, and what each lacks."""
    found: list[tuple[str, Pressing]] = []
    for action in ("self-test", "reset"):
        gesture = button.gestures.get(action)
        if gesture is None:
            continue
        if gesture.press is not None:
            found.append((f"pressed just too shortly for {action}", (1, below_us(gesture.press.min_us))))
            continue
        count, us = surely(button, action)
        each_us = us // (2 * count - 1)
        if count > 1:
            fewer = count - 1
            found.append((f"one press too few for {action}", (fewer, each_us * (2 * fewer - 1))))
        if count < MOST_PRESSES and gesture.within is not None and count > 1:
            # From the end of the first press to the beginning of the last there are 2 n - 3 spans.
            slow_us = beyond_us(gesture.within.max_us) // (2 * count - 3) + RELAY_US
            if slow_us < _shortest_long_us(button) - RELAY_US:
                found.append((f"pressed just too slowly for {action}", (count, slow_us * (2 * count - 1))))
    if (shortest_us := below_us(button.press.min_us)) > 0 and 1 in _counts(button):
        found.append(("closed just too shortly for a press", (1, shortest_us)))
    return [(why, pressing) for why, pressing in found if not _moves_by(button, pressing)]


def _counts(button: Button) -> set[int]:
    return {g.presses for a, g in button.gestures.items() if g.press is None and a in ("self-test", "reset")}


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
    return 2 * expected_bound_us(span_us) + RELAY_US


def _shortest_long_us(button: Button) -> int:
    return min((g.press.min_us for g in button.gestures.values() if g.press is not None), default=1 << 40)
