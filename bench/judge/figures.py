"""How many decimals tell a measured value from its limits."""

from __future__ import annotations

#: To the millisecond, unless that hides on which side of a limit the value lies; stamps are in microseconds.
USUAL, MOST = 3, 6


def decimals(value: float, *limits: float | None, usual: int = USUAL) -> int:
    """So many, at least `usual`, that `value` does not read like a limit that it is not."""
    close = [limit for limit in limits if limit is not None and limit != value]
    for places in range(usual, MOST):
        if all(f"{value:.{places}f}" != f"{limit:.{places}f}" for limit in close):
            return places
    return MOST if close else usual
