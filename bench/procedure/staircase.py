"""Through which levels a signal goes to find where a board trips or clears, and how long each must stand.

Where an answer tells when it began to be due to within some width, steps that
stand as long as that width leave one step that can have brought it about.  So
a step lasts as long as the interval is wide, not as long as the board may
take.  The levels lie so that a board two bounds of the signal inside its
tolerance is never too near a limit to tell.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import takewhile

from bench.judge.bounds import SIGNAL_BOUND_UV, expected_bound_us
from bench.judge.budget import level_budget
from bench.judge.level_answers import Answer
from firmware_ref.parameters import Band, Sensor

#: A level is found to this, or to a quarter of its tolerance (the common four to one), whichever is less.
MOST_LFL = 1.0
SHARE_OF_TOLERANCE = 4
#: A board beyond its band is followed so far, so that it can be said where it trips.
BEYOND_LFL = 6.0
#: Longer than this nobody waits for a clear level; ours.
ALLOWED_US = 3_600_000_000


@dataclass(frozen=True, slots=True)
class Staircase:
    """Levels in order, in uV, and how long each stands.

    `decided`: after so many of them a board inside its limits has answered, or has begun to.
    """

    levels_uv: tuple[int, ...]
    each_us: int
    decided: int

    @property
    def band_us(self) -> int:
        """How long it takes through the band."""
        return self.decided * self.each_us


def each_us(answer: Answer) -> int:
    """How long a step stands so that the answer tells it from its neighbours."""
    return answer.span.width_us + 2 * expected_bound_us(answer.span.max_us)


def staircase(
    sensor: Sensor,
    band: Band,
    answer: Answer,
    towards_gas: bool,
    step_uv: int,
    bound_uv: int = SIGNAL_BOUND_UV,
) -> Staircase:
    """Through the band in steps of at most `step_uv`, from two bounds before it to beyond it."""
    sign = 1 if sensor.rising is towards_gas else -1
    near, far = (band.low_uv, band.high_uv) if sign > 0 else (band.high_uv, band.low_uv)
    # A limit is where it is at the nominal sensor supply; the band of a ratiometric sensor reaches beyond it.
    limits = sensor.at_nominal(band)
    low_limit, high_limit = sorted((limits.low_uv, limits.high_uv))
    supply_uv = max(low_limit - band.low_uv, band.high_uv - high_limit)
    inset = math.ceil(_expanded_uv(step_uv, bound_uv, supply_uv) - step_uv / 2) + bound_uv
    first, last = low_limit + inset, high_limit - inset
    if sign < 0:
        first, last = last, first
    inner = [(near + far) // 2]
    if sign * (last - first) > 0:
        count = -(-abs(last - first) // step_uv)
        inner = [_whole_mv(first + (last - first) * i // count) for i in range(count + 1)]
    end = far + sign * 2 * bound_uv
    within = [near - sign * 2 * bound_uv, *inner, end]
    limit = sensor.uv_at(100.0 if towards_gas else 0.0)
    limit = min(max(limit, 0), sensor.max_uv)
    slope = _lfl_per_uv(sensor, band, bound_uv)
    count = math.ceil(BEYOND_LFL / slope / step_uv)
    further = (_whole_mv(end + sign * step_uv * i) for i in range(1, count + 1))
    beyond = takewhile(lambda uv: sign * (limit - uv) >= 0, further)
    return Staircase((*within, *beyond), each_us(answer), len(within))


def _whole_mv(uv: int) -> int:
    """For people; a band narrower than the millivolt is none that this bench can tell."""
    return round(uv, -3)


def finest_uv(sensor: Sensor, band: Band, bound_uv: int = SIGNAL_BOUND_UV) -> int:
    """The largest step that finds the level to a quarter of its tolerance, and to `MOST_LFL`."""
    tolerance_uv = (band.high_uv - band.low_uv) / 2
    most_uv = MOST_LFL / _lfl_per_uv(sensor, band, bound_uv)
    return _step_uv(min(most_uv, tolerance_uv / SHARE_OF_TOLERANCE), bound_uv)


def coarsest_uv(sensor: Sensor, band: Band, bound_uv: int = SIGNAL_BOUND_UV) -> int:
    """The largest step that finds the level to `MOST_LFL`."""
    return _step_uv(MOST_LFL / _lfl_per_uv(sensor, band, bound_uv), bound_uv)


def _step_uv(expanded_uv: float, bound_uv: int) -> int:
    """The largest step with that expanded uncertainty; never so small that two read-backs could change places."""
    least = 2 * bound_uv + 1_000
    low, high = least, 5_000_000
    if _expanded_uv(low, bound_uv) >= expanded_uv:
        return least
    while high - low > 1_000:
        middle = (low + high) // 2
        low, high = (low, middle) if _expanded_uv(middle, bound_uv) > expanded_uv else (middle, high)
    return low


def _expanded_uv(step_uv: int, bound_uv: int, supply_uv: int = 0) -> float:
    return level_budget((step_uv / 2, 0.0, bound_uv, supply_uv), "uV").expanded


def _lfl_per_uv(sensor: Sensor, band: Band, bound_uv: int) -> float:
    """The steepest of the points' lines at the band."""
    return max(
        abs(sensor.level_at(uv + bound_uv) - sensor.level_at(uv - bound_uv)) / (2 * bound_uv)
        for uv in (band.low_uv, band.high_uv)
    )
