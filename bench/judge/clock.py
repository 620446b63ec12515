"""The fixture's clock against the host's.

Least squares of host time on fixture ticks.  A ceramic resonator may be 0.5 %
off; the fit finds the rate, the residuals show how well it is known.  What the
fit cannot show (the host's own rate, answers that come late, drift inside the
run) are lines of their own in the budget.  Source of the method: ordinary least
squares, checked against NIST StRD "Norris" and GUM H.3 in the tests.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from operator import mul
from typing import NamedTuple

from bench.judge.uncertainty import CONFIDENCE, Line, normal, rectangular, student
from bench.trace.records import Clock

#: An uncalibrated host's raw clock (crystal, ±100 ppm at most).
HOST_PPM = 100
#: What the rate of the fixture's clock may change by within a run.
DRIFT_PPM = 30
#: A fixture whose rate was not measured: ceramic resonator, ±0.5 %.
UNFITTED_PPM = 5_000
#: A rate further off than this is no resonator's: the bench is broken.
LIMIT_PPM = 6_000
#: What a serial line or a USB frame shares out differently between a question and its answer, from one round trip to
#: the next.  Common practice, no source.
SHARED_OUT_US = 1_500
#: After this long a run must know its rate to `KNOWN_PPM`.
KNOWN_AFTER_US = 60_000_000
KNOWN_PPM = 200


class HostRate(NamedTuple):
    """The computer's clock runs fast by `ppm`, known to ± `within_ppm`."""

    ppm: float = 0.0
    within_ppm: float = HOST_PPM


@dataclass(frozen=True, slots=True)
class Straight:
    """y = intercept + slope·(x − x_mean), with standard uncertainties."""

    x_mean: float
    intercept: float
    slope: float
    intercept_u: float
    slope_u: float
    residual_sd: float


def least_squares(x: Sequence[float], y: Sequence[float]) -> Straight:
    """Straight line through at least three points with at least two different x.

    Raises ValueError where there are fewer.
    """
    n = len(x)
    if n < 3 or min(x) == max(x):
        raise ValueError("a line with its uncertainty needs three points and two different x")
    x_mean, y_mean = math.fsum(x) / n, math.fsum(y) / n
    dx, dy = [xi - x_mean for xi in x], [yi - y_mean for yi in y]
    sxx = math.fsum(map(mul, dx, dx))
    slope = math.fsum(map(mul, dx, dy)) / sxx
    rest = [b - slope * a for a, b in zip(dx, dy, strict=True)]
    sd = math.sqrt(math.fsum(map(mul, rest, rest)) / (n - 2))
    return Straight(x_mean, y_mean, slope, sd / math.sqrt(n), sd / math.sqrt(sxx), sd)


@dataclass(frozen=True, slots=True)
class Bend:
    """y leaves the straight line by `curvature`·(x − x_mean)², with its standard uncertainty.

    `pull` is how far it moves, at most, if every y is off by one.
    """

    curvature: float
    curvature_u: float
    pull: float


def bend(x: Sequence[float], y: Sequence[float], line: Straight) -> Bend:
    """The curvature that least squares add to the straight line through the same points.

    Raises ValueError for fewer than four points, or fewer than three different x.
    """
    if len(x) < 4 or len(set(x)) < 3:
        raise ValueError("a curvature with its uncertainty needs four points and three different x")
    away = [xi - line.x_mean for xi in x]
    squares = [d * d for d in away]
    sxx = math.fsum(squares)
    mean, tilt = sxx / len(x), math.fsum(map(mul, squares, away)) / sxx
    # Square, at right angles to every straight line.
    arch = [square - mean - tilt * d for square, d in zip(squares, away, strict=True)]
    size = math.fsum(map(mul, arch, arch))
    rest = [yi - line.intercept - line.slope * d for yi, d in zip(y, away, strict=True)]
    curvature = math.fsum(map(mul, arch, rest)) / size
    left = [r - curvature * a for a, r in zip(arch, rest, strict=True)]
    u = math.sqrt(math.fsum(map(mul, left, left)) / (len(x) - 3) / size)
    return Bend(curvature, u, math.fsum(map(abs, arch)) / size)


@dataclass(frozen=True, slots=True)
class ClockFit:
    """True time from ticks: `true = slope · tick`; the rate is known to ± `rate_ppm`.

    `rate_ppm` is the sum of the half-widths of `parts`, in whole ppm; `fit_ppm`
    is what the fit alone leaves open.  `slope_u_ppm`: standard uncertainty of
    the slope from the scatter of the samples.  `drift_ppm`: by how much the
    rate changed from the first sample to the last, with its standard
    uncertainty; None where there are too few samples.
    """

    slope: float
    rate_ppm: int
    fitted: bool
    samples: int = 0
    fit_ppm: float = 0.0
    slope_u_ppm: float = 0.0
    drift_ppm: float | None = None
    drift_u_ppm: float = 0.0
    parts: tuple[Line, ...] = ()

    def true_us(self, tick_us: int) -> int:
        return round(tick_us * self.slope)


EXACT = ClockFit(1.0, 0, True)
UNFITTED = ClockFit(
    1.0,
    UNFITTED_PPM,
    False,
    fit_ppm=UNFITTED_PPM,
    parts=(rectangular("fixture's clock, rate not measured", UNFITTED_PPM, "ppm"),),
)


def fit(samples: Sequence[Clock], host: HostRate | None = None) -> ClockFit:
    """The rate of a run's clock samples; `UNFITTED` where they do not tell it better than ±0.5 %.

    `host`: the rate of the computer's clock where it was measured.
    """
    host = host or HostRate()
    if len(samples) < 3 or min(s.tick_us for s in samples) == max(s.tick_us for s in samples):
        return UNFITTED
    ticks = [float(s.tick_us) for s in samples]
    fast = 1 + host.ppm / 1e6
    hosts = [(s.host_before_us + s.host_after_us) / 2 / fast for s in samples]
    line = least_squares(ticks, hosts)
    # A late answer shifts the middle of its round trip, always the same way in the worst case.
    away = [t - line.x_mean for t in ticks]
    trips = _shifts(samples)
    late_ppm = 1e6 * math.fsum(map(mul, map(abs, away), trips)) / math.fsum(map(mul, away, away))
    scatter = normal("clock fit, scatter of its samples", 1e6 * line.slope_u, "ppm", len(samples) - 2)
    fit_ppm = scatter.half_width + late_ppm
    if fit_ppm >= UNFITTED_PPM or not 0.5 < line.slope < 2:  # no clock at all: `fault` says so of a live one
        return UNFITTED
    drift_ppm, drift_u_ppm, allowed_ppm = _drift(ticks, hosts, line, max(trips))
    parts = (
        rectangular("computer's clock, rate", host.within_ppm, "ppm"),
        rectangular("fixture's clock, drift in the run", allowed_ppm, "ppm"),
        scatter,
        rectangular("clock fit, answers that come late", late_ppm, "ppm"),
    )
    return ClockFit(
        slope=line.slope,
        rate_ppm=math.ceil(math.fsum(part.half_width for part in parts)),
        fitted=True,
        samples=len(samples),
        fit_ppm=fit_ppm,
        slope_u_ppm=1e6 * line.slope_u,
        drift_ppm=drift_ppm,
        drift_u_ppm=drift_u_ppm,
        parts=parts,
    )


def _shifts(samples: Sequence[Clock]) -> list[float]:
    """By how much the middle of each round trip may lie beside the tick, less what is the same in all of them.

    The bytes take their time on the line in every round trip; how question and answer share it does not
    change the rate.  What is longer than the shortest may all have been on one way.
    """
    trips = [(s.host_after_us - s.host_before_us) / 2 for s in samples]
    least = min(trips)
    return [trip - least + min(least, SHARED_OUT_US) for trip in trips]


def _drift(
    ticks: Sequence[float], hosts: Sequence[float], line: Straight, trip_us: float
) -> tuple[float | None, float, float]:
    """How much the rate changed over the run, its u, and what must be allowed for, in ppm.

    `DRIFT_PPM` stands unless the samples show more, late answers set aside;
    then what they show and its uncertainty take its place.
    """
    if len(ticks) < 4 or len(set(ticks)) < 3:
        return None, 0.0, DRIFT_PPM
    found = bend(ticks, hosts, line)
    to_ppm = 2e6 * (max(ticks) - min(ticks))
    drift_ppm, u_ppm = to_ppm * found.curvature, to_ppm * found.curvature_u
    open_ppm = student(CONFIDENCE, len(ticks) - 3) * u_ppm
    shown_ppm = abs(drift_ppm) - open_ppm - to_ppm * found.pull * trip_us
    return drift_ppm, u_ppm, DRIFT_PPM if shown_ppm <= DRIFT_PPM else abs(drift_ppm) + open_ppm


def fault(samples: Sequence[Clock]) -> str | None:
    """What is wrong with a live run's clock, in one sentence, or None."""
    for before, after in pairwise(samples):
        if after.tick_us < before.tick_us:
            return "the fixture's clock went back; it was reset or its answers are damaged"
    found = fit(samples)
    if found.fitted and abs(found.slope - 1) * 1e6 > LIMIT_PPM:
        return (
            f"the fixture's clock is {(1 / found.slope - 1) * 100:+.2f} % off, more than ±0.6 %; "
            "check the fixture's resonator"
        )
    if _stepped(samples):
        return "the fixture's clock stepped in the run; it was reset or its answers are damaged"
    ran_us = samples[-1].tick_us - samples[0].tick_us if samples else 0
    if ran_us > KNOWN_AFTER_US and found.fit_ppm > KNOWN_PPM:
        return "the fixture's clock could not be compared with the computer's to 200 ppm within 60 s"
    return None


def _stepped(samples: Sequence[Clock]) -> bool:
    """Whether no one rate, give or take `KNOWN_PPM`, fits all spans between samples, late answers set aside."""
    spans = [(a, b) for a, b in pairwise(samples) if b.tick_us > a.tick_us]
    least = [(b.host_before_us - a.host_after_us) / (b.tick_us - a.tick_us) for a, b in spans]
    most = [(b.host_after_us - a.host_before_us) / (b.tick_us - a.tick_us) for a, b in spans]
    return bool(spans) and (max(least) - min(most)) * 1e6 > KNOWN_PPM
