"""The two alarm contacts of a board as a pair."""

from __future__ import annotations

from firmware_ref.parameters import Mode, Parameters, Policy

PAIR = ("alarm.no", "alarm.nc")


def are_watched(parameters: Parameters) -> bool:
    """Whether the board has both contacts, may close both in no mode, and its limits let one open before the other closes."""
    pair = [o for o in parameters.outputs if o.name in PAIR]
    if len(pair) < 2:
        return False
    closed = [{mode for mode, policy in o.modes.items() if policy is Policy.ON} for o in pair]
    if closed[0] & closed[1]:
        return False
    for mode, totals in (
        (Mode.LEAK_ACTIVE, [o.trip for o in pair]),
        (Mode.SENSOR_FAULT, [o.loss for o in pair]),
    ):
        closing, opening = totals if mode in closed[0] else reversed(totals)
        if closing is not None and opening is not None and opening.min_us > closing.max_us:
            return False
    return True
