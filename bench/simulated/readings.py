"""The board's sensor inputs: signals into conditions, and since when each has held.

Every change counts at its own instant, also one that falls between two scans
(the input stage latches it): a condition that breaks breaks its timers.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from bench.judge.bounds import signal_bound
from bench.simulated.draw import Draw
from firmware_ref.parameters import Band, Condition, Parameters, Sensor


@dataclass(frozen=True, slots=True)
class InputFlaws:
    """What is wrong with the sensor inputs; empty and False: nothing.

    `shifts`: `trip-high`, `trip-low`, `clear-high`, `clear-low` → how far beyond
    that limit it switches, in %LFL.
    """

    shifts: Mapping[str, float] = field(default_factory=dict)
    ignores_loss: bool = False
    ignores_range: bool = False
    clears_between: bool = False
    #: The sensors whose leak goes unnoticed, and the trouble contacts (`2-trouble`).
    ignored: frozenset[str] = frozenset()


class Input:
    """One sensor input with its own switching levels, drawn once a run."""

    def __init__(self, sensor: Sensor, draw: Draw, flaws: InputFlaws) -> None:
        self.sensor = sensor
        self._flaws = flaws
        self._below_uv: int | None = None
        self._above_uv: int | None = None
        if sensor.trip is not None and sensor.clear is not None:
            levels = {"trip": sensor.at_nominal(sensor.trip), "clear": sensor.at_nominal(sensor.clear)}
            drawn = {
                what: draw.level(_well_inside(sensor, band, draw), signal_bound(sensor))
                for what, band in levels.items()
            }
            for shift, lfl in flaws.shifts.items():
                what, _, way = shift.partition("-")
                drawn[what] = _beyond(sensor, levels[what], way == "high", lfl)
            if flaws.clears_between:
                drawn["clear"] = drawn["trip"]
            self.nominal_uv = (drawn["trip"], drawn["clear"])
            supply = sensor.supply
            # What the board feeds its sensor with moves every level with it.
            share = 1.0 if supply is None else draw.between(supply.low_uv, supply.high_uv) / supply.nominal_uv
            self._trip_uv, self._clear_uv = (round(share * uv) for uv in self.nominal_uv)
            if sensor.below is not None:
                self._below_uv = round(
                    share * draw.level(sensor.at_nominal(sensor.below), signal_bound(sensor))
                )
            if sensor.above is not None:
                self._above_uv = round(
                    share * draw.level(sensor.at_nominal(sensor.above), signal_bound(sensor))
                )
        self.condition = Condition.LOW
        self.since_us = 0
        self._signal: str | int = "open"
        self._in_trouble = sensor.trouble_when == "open"
        hears = not flaws.ignores_loss and f"{sensor.name}-trouble" not in flaws.ignored
        self._hears_trouble = "trouble" in sensor.lost_by and hears
        self._hears_leak = sensor.name not in flaws.ignored
        if sensor.kind != "modbus":
            self.put("open", 0)

    def wake(self, at_us: int) -> None:
        """The supply is there; what is learnt by asking is not known yet, and taken for no gas until then."""
        self.since_us = at_us
        if self.sensor.kind == "modbus":
            self.condition = Condition.LOW

    def _read(self, signal: str | int) -> Condition:
        if isinstance(signal, str) and signal in self.sensor.lost_by:
            return self.condition if self._flaws.ignores_loss else Condition.LOST
        if self.sensor.kind == "modbus":
            # What the board need not notice leaves it with the reading that it has.
            return self._level(signal) if isinstance(signal, int) else self.condition
        if self.sensor.kind == "analog":
            # An open input that is not noticed is pulled down: no gas on a rising sensor.
            return self._level(signal if isinstance(signal, int) else 0)
        if self.sensor.kind in ("contact", "trouble-contact"):
            reports = {"open": "open", "closed": "short"}[self.sensor.leak_when]
            return Condition.HIGH if signal in ("leak", reports) else Condition.LOW
        return Condition.HIGH if signal in ("leak", "short") else Condition.LOW

    def _level(self, uv: int) -> Condition:
        if not self._flaws.ignores_range and self._out_of_range(uv):
            return self.condition if self._flaws.ignores_loss else Condition.LOST
        sign = 1 if self.sensor.rising else -1
        if sign * uv >= sign * self._trip_uv:
            return Condition.HIGH
        return Condition.LOW if sign * uv < sign * self._clear_uv else Condition.BETWEEN

    def _out_of_range(self, uv: int) -> bool:
        below, above = self._below_uv, self._above_uv
        return (below is not None and uv < below) or (above is not None and uv > above)

    def put(self, signal: str | int, at_us: int) -> None:
        self._signal = signal
        self._look(at_us)

    def complain(self, signal: str | int, at_us: int) -> None:
        """The trouble contact moves."""
        self._in_trouble = (signal == "short") is (self.sensor.trouble_when == "closed")
        self._look(at_us)

    def _look(self, at_us: int) -> None:
        lost = self._in_trouble and self._hears_trouble
        condition = Condition.LOST if lost else self._read(self._signal)
        if condition is Condition.HIGH and not self._hears_leak:
            condition = Condition.LOW
        if condition is not self.condition:
            self.condition, self.since_us = condition, at_us


class Readings:
    """All inputs together.  `*_since_us` is None while the condition does not hold."""

    def __init__(
        self, parameters: Parameters, draw: Draw, *, each_sensor: bool, loss_breaks_low: bool,
        flaws: InputFlaws | None = None,
    ) -> None:  # fmt: skip
        self.inputs = {s.name: Input(s, draw, flaws or InputFlaws()) for s in parameters.sensors}
        self._all_must_be_lost = parameters.rules.lost_when == "all"
        self._each_sensor = each_sensor
        self._loss_breaks_low = loss_breaks_low
        self.high_since_us: int | None = None
        self.low_since_us: int | None = None
        self.lost_since_us: int | None = None
        self.good_since_us: int | None = None
        self.band_since_us: int | None = None
        #: When a sensor last ceased to be high.
        self.high_ended_us = 0
        #: Since when low, counting on through a loss where a loss does not break it.
        self.clear_since_us: int | None = None

    @property
    def gas(self) -> bool:
        """Whether a sensor that is not lost says that there is more than clear, whatever the others say."""
        return any(i.condition in (Condition.HIGH, Condition.BETWEEN) for i in self.inputs.values())

    def put(self, name: str, signal: str | int, at_us: int) -> None:
        """`name`: a sensor, or the trouble contact of one."""
        sensor, _, trouble = name.partition("-")
        if trouble:
            self.inputs[sensor].complain(signal, at_us)
        else:
            self.inputs[sensor].put(signal, at_us)
        self._join(at_us)

    def power_up(self, at_us: int) -> None:
        """A condition begins at the earliest with the supply."""
        for one in self.inputs.values():
            one.wake(at_us)
        self.high_since_us = self.low_since_us = self.lost_since_us = None
        self.good_since_us = self.band_since_us = self.clear_since_us = None
        self._join(at_us)

    def _join(self, at_us: int) -> None:
        inputs = list(self.inputs.values())
        was_high = self.high_since_us is not None
        high = [i.since_us for i in inputs if i.condition is Condition.HIGH]
        lost = [i.since_us for i in inputs if i.condition is Condition.LOST]
        low = all(i.condition is Condition.LOW for i in inputs)
        is_lost = bool(lost) and (not self._all_must_be_lost or len(lost) == len(inputs))
        if self._each_sensor:
            self.high_since_us = min(high) if high else None
            counted = max if self._all_must_be_lost else min
            self.lost_since_us = counted(lost) if is_lost else None
        else:
            # One joint condition: high hides lost.
            is_lost = is_lost and not high
            self.high_since_us = _since(self.high_since_us, bool(high), at_us)
            self.lost_since_us = _since(self.lost_since_us, is_lost, at_us)
        if was_high and not high:
            self.high_ended_us = at_us
        self.low_since_us = _since(self.low_since_us, low, at_us)
        self.good_since_us = _since(self.good_since_us, not lost, at_us)
        self.band_since_us = _since(self.band_since_us, not low and not is_lost, at_us)
        # One lost sensor where all must be lost is no loss: together they are between, which breaks a low.
        only_lost = is_lost and all(i.condition in (Condition.LOW, Condition.LOST) for i in inputs)
        survives = only_lost and not self._loss_breaks_low and self.clear_since_us is not None
        self.clear_since_us = _since(self.clear_since_us, low or survives, at_us)


def _since(before_us: int | None, holds: bool, at_us: int) -> int | None:
    if not holds:
        return None
    return at_us if before_us is None else before_us


def _well_inside(sensor: Sensor, band: Band, draw: Draw) -> Band:
    """Of a ratiometric sensor, what is left two bounds of its supply inside; `anywhere` keeps off nothing."""
    if sensor.supply is None or draw.kind == "anywhere":
        return band
    away_uv = band.high_uv * (sensor.supply.high_uv - sensor.supply.nominal_uv) // sensor.supply.nominal_uv
    if band.high_uv - band.low_uv <= 4 * away_uv:
        return Band((band.low_uv + band.high_uv) // 2, (band.low_uv + band.high_uv) // 2)
    return Band(band.low_uv + 2 * away_uv, band.high_uv - 2 * away_uv)


def _beyond(sensor: Sensor, band: Band, higher: bool, lfl: float) -> int:
    """So far above the band, or below it, in %LFL; uV at the terminal."""
    limit = band.high_uv if sensor.rising is higher else band.low_uv
    return sensor.uv_at(sensor.level_at(limit) + (lfl if higher else -lfl))
