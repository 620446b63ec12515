"""Where in its interval each occurrence of a timing falls: seeded, anew each time.

`inside`: uniform, two expected bounds off either end, so that a judge with
that bound passes it; an interval too narrow for that gives its middle.
`anywhere`: the whole interval.  `nominal`: the middle.  A lower end of 0 is
causality and no limit, so nothing is kept off it.
"""

from __future__ import annotations

import random

from bench.errors import UsageError
from bench.judge.bounds import SIGNAL_BOUND_UV, expected_bound_us
from firmware_ref.parameters import Band, Interval

DRAWS = ("inside", "anywhere", "nominal")


def whole(chance: random.Random, low: int, high: int) -> int:
    """The same number in [low, high] as `chance.randint` would give, in a third of the time.

    A quarter of an hour of a flashing light takes thousands of them.  Raises ValueError where there is none.
    """
    count = high - low + 1
    if count < 1:
        raise ValueError(f"no number lies in {low}..{high}")
    bits = count.bit_length()
    drawn = chance.getrandbits(bits)
    while drawn >= count:
        drawn = chance.getrandbits(bits)
    return low + drawn


class Draw:
    """One run's source of chance.  The same seed gives the same board, whatever else runs."""

    def __init__(self, kind: str, seed: int, stream: str) -> None:
        """`stream` keeps the draws of one purpose apart from those of another."""
        if kind not in DRAWS:
            raise UsageError(f"draw '{kind}' does not exist: write one of {', '.join(DRAWS)}")
        self.kind = kind
        self._random = random.Random(f"{seed}/{stream}")

    def limits(self, interval: Interval, judged_us: int) -> tuple[int, int]:
        """The part of `interval` to draw from, where `judged_us` is the longest interval judged by it."""
        low, high = interval.min_us, interval.max_us
        if self.kind == "anywhere":
            return low, high
        middle, margin = interval.middle_us, 2 * expected_bound_us(judged_us)
        if self.kind == "nominal" or interval.width_us < 2 * margin:
            return middle, middle
        return (low + margin if low else 0), high - margin

    def span(self, interval: Interval, judged_us: int, *, floor_us: int = 0, spare_us: int = 0) -> int:
        """A time in us out of `interval`.

        `floor_us`: what the hardware needs at least.  `spare_us`: kept free
        at the upper end for what the hardware adds afterwards.
        """
        low, high = self.limits(interval, judged_us)
        low = max(low, floor_us)
        if self.kind == "nominal":
            return low
        return self.between(low, max(low, high - spare_us))

    def between(self, low_us: int, high_us: int) -> int:
        """Uniform in [low, high]; `nominal` gives the middle."""
        if self.kind == "nominal":
            return (low_us + high_us) // 2
        return whole(self._random, low_us, high_us)

    def level(self, band: Band, bound_uv: int = SIGNAL_BOUND_UV) -> int:
        """A switching level in uV, two bounds of the signal inside its band; of a Modbus sensor in counts."""
        margin = 0 if self.kind == "anywhere" else 2 * bound_uv
        if self.kind == "nominal" or band.high_uv - band.low_uv < 2 * margin:
            return (band.low_uv + band.high_uv) // 2
        return self._random.randint(band.low_uv + margin, band.high_uv - margin)

    def choice(self, answers: tuple[str, ...]) -> str:
        """One of several answers that are all right."""
        return self._random.choice(answers)

    def flip(self) -> bool:
        """Whether a liberty is taken."""
        return self._random.random() < 0.5

    def chance(self, low: int, high: int) -> int:
        """Uniform whatever the kind of draw: for phase and bounce, which no profile limits."""
        return whole(self._random, low, high)
