"""The fixture's own clock: a ceramic resonator, off by up to 0.5 % and drifting a little."""

from __future__ import annotations

import math
import random

#: Ceramic resonator, initial tolerance.
RATE_PPM = 5_000
#: What the rate changes by within a run, peak to peak.
DRIFT_PPM = 30
#: The rate swings around its middle once an hour.
_TURN_PER_US = 2 * math.pi / 3.6e9
_SWING_US = DRIFT_PPM / 2e6 / _TURN_PER_US
_WRAP = 1 << 32


class Resonator:
    """Ticks from true time; the rate is seeded, so is how long the fixture has been on."""

    def __init__(self, chance: random.Random) -> None:
        # The drift comes on top and must not lead past the tolerance.
        limit = (RATE_PPM - DRIFT_PPM) / 1e6
        self._rate = 1 + chance.uniform(-limit, limit)
        self._phase = chance.uniform(0, 2 * math.pi)
        self._zero = chance.randrange(_WRAP)
        self._since_us = 0
        self._last: tuple[float, int] = (-1.0, 0)

    def restart(self, now_us: int) -> None:
        """The controller boots: ticks begin at 0."""
        self._zero, self._since_us = 0, now_us
        self._last = (-1.0, 0)

    def exact(self, true_us: float) -> float:
        """Ticks since the boot, before they wrap."""
        wander = _SWING_US * (
            math.cos(self._since_us * _TURN_PER_US + self._phase)
            - math.cos(true_us * _TURN_PER_US + self._phase)
        )
        return self._zero + (true_us - self._since_us) * self._rate + wander

    def tick(self, true_us: float) -> int:
        """The 32-bit tick at an instant."""
        # Asked again and again for the present, which stands still meanwhile.
        if true_us != self._last[0]:
            self._last = (true_us, math.floor(self.exact(true_us)) % _WRAP)
        return self._last[1]

    def not_before(self, true_us: float) -> int:
        """The first tick that is not before an instant."""
        return math.ceil(self.exact(true_us)) % _WRAP
