"""What this bench can resolve, before anything was measured.

The judge computes the bound of every interval from the events themselves
(`bench.judge.budget`); these are the a-priori figures that procedures, the
simulated draw and `profile check` plan with.  They are ceilings: a real
interval's bound must not exceed them.

Half-widths: an AC edge is known within the blind gap around a zero crossing
(3.3 ms at 18 V rms with a 15 V threshold at 60 Hz, 4.0 ms at 50 Hz:
asin(threshold/peak)/(pi*f)) plus one millisecond of sampling; a signal step
within its filter's crossing time.
"""

from __future__ import annotations

from firmware_ref.parameters import Sensor

#: Sum of the half-widths of a signal step or call and the AC edge that answers it.
EVENT_PAIR_US = 8_000
#: Fitted clock rate: an uncalibrated host is known to 100 ppm, the fit and drift take the rest.
RATE_PPM = 150
#: Bound of a sensor signal at the board's terminal, in uV (`bound` of the sensor channels in hardware/channels.csv).
SIGNAL_BOUND_UV = 5_000


def signal_bound(sensor: Sensor) -> int:
    """How finely a sensor's signal can be set at the board: in uV, for a Modbus sensor one count."""
    return 1 if sensor.kind == "modbus" else SIGNAL_BOUND_UV


def expected_bound_us(duration_us: int) -> int:
    """Ceiling of the bound, in us, of an interval of `duration_us` on this bench."""
    return EVENT_PAIR_US + duration_us * RATE_PPM // 1_000_000
