"""What a board shows of having tripped or cleared, and how long after it: the same for procedure and judge.

A trip is seen at the outputs.  Where it clears nothing moves but an output
that does in the hold something else than in the leak, such as an alarm
contact; else only the release, a whole hold later, tells.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from firmware_ref.parameters import Interval, Mode, Output, Parameters, Policy


@dataclass(frozen=True, slots=True)
class Answer:
    """Any of `outputs` goes from what it does in `before` to what it does in `after`, `span` after the crossing."""

    outputs: tuple[str, ...]
    before: Mode
    after: Mode
    span: Interval

    @property
    def by_release(self) -> bool:
        """Whether it takes a whole hold until it is seen."""
        return self.after is Mode.NORMAL


def to_trip(parameters: Parameters) -> list[Answer]:
    """One answer for each output that a leak moves and whose total is stated; the first to come tells."""
    return [
        Answer((o.name,), Mode.NORMAL, Mode.LEAK_ACTIVE, o.trip)
        for o in parameters.outputs
        if o.modes[Mode.NORMAL] is not o.modes[Mode.LEAK_ACTIVE] and o.trip is not None
    ]


def to_clear(parameters: Parameters) -> Answer | None:
    """What tells soonest where it cleared; None where the timing is not stated, or no output shows it."""
    timing = parameters.timing
    if timing.clear is None:
        return None
    telling = _differing(parameters, Mode.LEAK_ACTIVE, Mode.POST_LEAK_HOLD)
    if telling:
        span = Interval(timing.clear.min_us, timing.clear.max_us + _react_us(telling))
        return Answer(tuple(o.name for o in telling), Mode.LEAK_ACTIVE, Mode.POST_LEAK_HOLD, span)
    if timing.hold is None:
        return None
    # An output with a restart delay may come back later than the release.
    released = [o for o in _differing(parameters, Mode.POST_LEAK_HOLD, Mode.NORMAL) if o.restart is None]
    if not released:
        return None
    span = Interval(
        timing.clear.min_us + timing.hold.min_us,
        timing.clear.max_us + timing.hold.max_us + _react_us(released),
    )
    return Answer(tuple(o.name for o in released), Mode.POST_LEAK_HOLD, Mode.NORMAL, span)


def reads(output: Output, mode: Mode, calls: Mapping[str, bool]) -> bool:
    """Whether an output that has come to rest in that mode is on (a contact: closed)."""
    policy = output.modes[mode]
    if policy is Policy.FOLLOW:
        return output.call is not None and calls.get(output.call, False)
    return policy is Policy.ON


def _differing(parameters: Parameters, one: Mode, other: Mode) -> list[Output]:
    return [o for o in parameters.outputs if o.modes[one] is not o.modes[other]]


def _react_us(outputs: list[Output]) -> int:
    return max(max(o.react_on.max_us, o.react_off.max_us) for o in outputs)
