"""How long a board may take, seen from outside: the spans that waits are relative to.

A span runs from the stimulus to what can be seen at the terminals, so it is a
composite: a release comes `clear` and `hold` and `react` after the signal went
low.  Where a part is not stated the span is not known; the procedure then
waits for an output to change, at most `LONGEST_WAIT_US`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from bench.judge.bounds import expected_bound_us
from firmware_ref.parameters import Interval, Parameters

_S = 1_000_000
_MIN = 60 * _S

#: What starts each timer: the last stimulus of the supply, of a sensor or of a call, or the wait itself.
STARTED_BY: Mapping[str, str] = {
    "boot": "supply",
    "warm_up": "supply",
    "follow": "call",
    "react": "sensor",
    "trip": "sensor",
    "clear": "sensor",
    "hold": "sensor",
    "loss": "sensor",
    "return": "sensor",
    "button": "button",
    "self_test": "button",
    "restart": "now",
}

#: How long to wait for a change of an output where the profile does not state the timing.
#: Ours: several times what such boards are commonly said to take; the hold four times the five minutes
#: that are published as its least (a longer one is noticed by the person who watches).
LONGEST_WAIT_US: Mapping[str, int] = {
    "trip": 1 * _MIN,
    "clear": 1 * _MIN,
    "hold": 20 * _MIN,
    "loss": 2 * _MIN,
    "return": 1 * _MIN,
    "self_test": 5 * _MIN,
}
#: Taken for the shortest span where the profile does not state it (the hold: its published least).
ASSUMED_US: Mapping[str, int] = {**LONGEST_WAIT_US, "hold": 5 * _MIN}


def span(parameters: Parameters, timer: str) -> Interval | None:
    """Shortest and longest time from the starting stimulus to the output's terminals; None: not stated.

    `restart` is a span of zero where no output has one, and so are `button`
    and `self_test` on a board without.
    """
    timing, outputs = parameters.timing, parameters.outputs
    react = Interval(0, _longest(s for o in outputs for s in (o.react_on, o.react_off)))
    if timer == "boot":
        return timing.boot
    if timer == "follow":
        return Interval(0, _longest(s for o in outputs for s in (o.follow_on, o.follow_off)))
    if timer == "react":
        return react
    if timer == "restart":
        follow = max(react.max_us, _longest(s for o in outputs for s in (o.follow_on, o.follow_off)))
        return Interval(0, _longest(o.restart.delay for o in outputs if o.restart) + react.max_us + follow)
    if timer in ("button", "self_test"):
        return _after_presses(parameters, timer, react)
    if timer in ("trip", "loss"):
        return _total(parameters, timer, react)
    parts: Mapping[str, tuple[Interval | None, ...]] = {
        "warm_up": (timing.warm_up, react),
        "clear": (timing.clear, react),
        "hold": (timing.clear, timing.hold, react),
        "return": (timing.return_, react),
    }
    return _sum(*parts[timer])


def _after_presses(parameters: Parameters, timer: str, react: Interval) -> Interval | None:
    """From the end of the last press: until the board has surely answered, or its self-test is over."""
    button = parameters.button
    if button is None:
        return Interval(0, 0)
    answered = Interval(0, button.window.max_us + button.press.max_us + button.acts.max_us + react.max_us)
    if timer == "button":
        return answered
    if not parameters.has_self_test:
        return Interval(0, 0)
    return _sum(answered, parameters.timing.self_test)


def past_us(parameters: Parameters, timer: str) -> int | None:
    """After this long since the stimulus a missing answer is decided: longest, two bounds, glitch time."""
    found = span(parameters, timer)
    if found is None:
        return None
    return found.max_us + 2 * expected_bound_us(found.max_us) + parameters.timing.glitch_us


def _total(parameters: Parameters, what: str, react: Interval) -> Interval | None:
    """`trip` and `loss` given for an output are totals to its terminal; another one reacts to the hidden change.

    Where nothing is to move, as on a loss during a leak, the board has surely
    decided and reacted by the end.
    """
    hidden = parameters.qualification(what)
    if hidden is None:
        return None
    totals = [t for o in parameters.outputs if (t := o.trip if what == "trip" else o.loss) is not None]
    return Interval(hidden.min_us, max(hidden.max_us + react.max_us, _longest(totals)))


def _sum(*parts: Interval | None) -> Interval | None:
    known = [p for p in parts if p is not None]
    if len(known) < len(parts):
        return None
    return Interval(sum(p.min_us for p in known), sum(p.max_us for p in known))


def _longest(spans: Iterable[Interval]) -> int:
    return max((s.max_us for s in spans), default=0)
