"""The values of every input and driver worked out by hand formulas, from values.csv: (least, most) of each claim.

ngspice works the same out from the sheets (tests/hardware/papers); what
claims.csv wants of it stands beside it in VALUES.md.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import NamedTuple

from hardware.schematic.sheet import Value, read_values


class Span(NamedTuple):
    least: float
    most: float


_V = read_values()

#: Where aged or fresh parts, controller pull-ups and so on make the ends.
_RATIO_LOW = _V["opto.ratio_least"].value * _V["opto.aged"].value
_RATIO_HIGH = _V["opto.ratio_most"].value
ROOT2 = math.sqrt(2)
#: What a clamp diode leaks at the most, in ampere (rating in values.csv).
_LEAK = 5e-9


def low(key: str) -> float:
    return _V[key].least()


def high(key: str) -> float:
    return _V[key].most()


def _both(key: str) -> tuple[float, float]:
    row: Value = _V[key]
    return row.least(), row.most()


def _beside(a: float, b: float) -> float:
    return a * b / (a + b)


def sink_needed() -> Span:
    """Collector current, in ampere, at which an input pin may read low, and at which it must.

    The external pull-up alone up to the pin's upper threshold; with the
    controller's own pull-up down to the lower one.
    """
    rail = _V["rail.controller"]
    least = (rail.least() - _V["pin.high"].value) / high("ac.pull_up")
    most = (rail.most() - _V["pin.low"].value) / _beside(low("ac.pull_up"), _V["pull.controller"].value)
    return Span(least, most)


def _drops() -> Span:
    """Zener diode, the other one forward, and the optocoupler's diode."""
    return Span(
        low("ac.zener") + low("diode.drop") + low("opto.drop"),
        high("ac.zener") + high("diode.drop") + high("opto.drop"),
    )


def threshold() -> Span:
    need, drops = sink_needed(), _drops()
    return Span(
        drops.least + need.least / _RATIO_HIGH * low("ac.series"),
        drops.most + need.most / _RATIO_LOW * high("ac.series"),
    )


def gap(hertz: float) -> Span:
    ends = [1e3 * math.asin(v / (18 * ROOT2)) / (math.pi * hertz) for v in threshold()]
    return Span(*ends)


def led_peak() -> Span:
    peak, drops = 30 * ROOT2, _drops()
    return Span(1e3 * (peak - drops.most) / high("ac.series"), 1e3 * (peak - drops.least) / low("ac.series"))


def ac_drive() -> Span:
    peak, drops = 18 * ROOT2, _drops()
    return Span(
        1e3 * _RATIO_LOW * (peak - drops.most) / high("ac.series"),
        1e3 * _RATIO_HIGH * (peak - drops.least) / low("ac.series"),
    )


def _watts(rms: float, drop: float, ohm: float) -> float:
    """Power in the series resistor: the half sine less what the diodes keep, squared, its mean."""
    steps = 2000
    over = (max(0.0, rms * ROOT2 * math.sin(math.pi * (n + 0.5) / steps) - drop) for n in range(steps))
    return sum(v * v for v in over) / steps / ohm


def series_power() -> Span:
    drops = _drops()
    return Span(_watts(30, drops.most, high("ac.series")), _watts(30, drops.least, low("ac.series")))


def zener_power() -> Span:
    """Voltage times current is largest with the largest Zener voltage that tolerance gives."""
    powers = [
        zener * (30 - zener - diode - led) / ohm
        for zener in _both("ac.zener")
        for diode in _both("diode.drop")
        for led in _both("opto.drop")
        for ohm in _both("ac.series")
    ]
    return Span(min(powers), max(powers))


def ignored() -> Span:
    """The resting terminal lets its current through the dummy load; what the input itself takes is nothing yet."""
    least, most = threshold()
    return Span(1e3 * least / ROOT2 / high("ac.dummy"), 1e3 * most / ROOT2 / low("ac.dummy"))


def snubber() -> Span:
    def peak(ohm: float) -> float:
        return 30 * ROOT2 * ohm / abs(complex(ohm + 100, -1 / (2 * math.pi * 60 * 0.12e-6)))

    return Span(peak(low("ac.dummy")), peak(high("ac.dummy")))


def dummy_power() -> Span:
    return Span(900 / high("ac.dummy"), 900 / low("ac.dummy"))


def dummy_current() -> Span:
    return Span(24e3 / high("ac.dummy"), 24e3 / low("ac.dummy"))


def gate_reset() -> Span:
    pull = _V["pull.controller"].value
    return Span(0, high("rail.controller") * high("driver.pull_down") / (high("driver.pull_down") + pull))


def driver_pin() -> Span:
    """A high pin feeds its pull-down; the gate takes nothing."""
    ohm = _V["pin.ohm"].value
    return Span(
        1e3 * low("rail.controller") / (high("driver.pull_down") + ohm),
        1e3 * high("rail.controller") / (low("driver.pull_down") + ohm),
    )


def coil_volts() -> Span:
    def across(rail: float, coil: float, fet: float) -> float:
        return rail * coil / (coil + fet)

    return Span(
        across(low("rail.coils"), low("coil.linked"), high("driver.fet")),
        across(high("rail.coils"), high("coil.linked"), low("driver.fet")),
    )


def drain_peak() -> Span:
    return Span(
        low("rail.coils") + low("driver.zener") + low("diode.drop"),
        high("rail.coils") + high("driver.zener") + high("diode.drop"),
    )


def release() -> Span:
    """L di/dt = -(R i + Zener voltage + diode), down to a tenth of where it began."""

    def time(rail: float, coil: float, clamp: float) -> float:
        return 1e3 * _V["coil.linked_henry"].value / coil * math.log((rail + clamp) / (0.1 * rail + clamp))

    clamps = [a + b for a, b in zip(_both("driver.zener"), _both("diode.drop"), strict=True)]
    ends = [time(r, c, z) for r in _both("rail.coils") for c in _both("coil.linked") for z in clamps]
    return Span(min(ends), max(ends))


def main_led() -> Span:
    ohm = _V["pin.ohm"].value
    return Span(
        1e3 * (low("rail.controller") - high("opto.drop")) / (high("main.led") + ohm),
        1e3 * (high("rail.controller") - low("opto.drop")) / (low("main.led") + ohm),
    )


def gate_on() -> Span:
    """What the optocoupler gives flows off through the gate's pull-down and the read-back; else the supply limits.

    The largest is the gate's own Zener diode, or the supply without load.
    """
    amps = main_led().least / 1e3 * _RATIO_LOW
    sinks = 1 / low("main.gate_pull") + 1 / low("main.sense")
    by_current = (amps + low("opto.drop") / low("main.sense")) / sinks
    by_supply = low("main.supply") - amps * high("main.gate") - 0.4
    return Span(min(by_current, by_supply), 14.0)


def main_gate_reset() -> Span:
    """The pin stays below what the optocoupler's diode needs."""
    assert gate_reset().most < low("opto.drop")
    return Span(0, 0.05)


def on_time() -> Span:
    """Two gates with their rated capacitance up to 5 V at the least current, after a lag of 10 us each way."""
    amps = main_led().least / 1e3 * _RATIO_LOW
    charge = 2 * (high("main.fet_capacitance") + 1e-9) * 5
    return Span(0, 1e3 * (charge / (amps - 5 / low("main.gate_pull") - 4 / low("main.sense")) + 20e-6))


def off_time() -> Span:
    """From 14 V to 2 V through the gate's pull-down alone, after four lags of the optocoupler."""
    farad = 2 * (high("main.fet_capacitance") + 0.4e-9)
    return Span(0, 1e3 * (high("main.gate_pull") * farad * math.log(14 / 2) + 40e-6))


def main_position() -> Span:
    least = (gate_on().least - high("opto.drop")) / high("main.sense") * _RATIO_LOW
    most = (14 - low("opto.drop")) / low("main.sense") * _RATIO_HIGH
    return Span(1e3 * least, 1e3 * most)


def main_drop() -> Span:
    return Span(0, 2 * 2.5 * high("main.fet"))


def main_load() -> Span:
    """Currents of resistors and inputs are added as if they had one form, which is a little too much."""
    drops = _drops()
    inputs = [
        math.sqrt(_watts(24, d, ohm) / ohm)
        for d, ohm in ((drops.most, high("ac.series")), (drops.least, low("ac.series")))
    ]
    ends = [
        10 * 24 / ohm + 23 * one + 10 / 24
        for ohm, one in zip((high("ac.dummy"), low("ac.dummy")), inputs, strict=True)
    ]
    return Span(min(ends), max(ends))


def cut_peak() -> Span:
    """The suppressor's voltage and its resistance (0.5 ohm a half) times the current."""
    return Span(low("main.clamp"), high("main.clamp") + 3.5 * 1.0 + 1.0)


def inrush() -> Span:
    return Span(0, 26.4 * ROOT2 / _V["source.ohm"].value)


def inrush_melting() -> Span:
    """An empty capacitor over a resistor: C V^2 / 2R."""
    volts = 26.4 * ROOT2 - 1.5
    return Span(0, _V["board.capacitor"].value * volts**2 / (2 * _V["source.ohm"].value))


def contact_current() -> Span:
    return Span(
        1e3 * (low("rail.loop") - high("opto.drop")) / high("contact.series"),
        1e3 * (high("rail.loop") - low("opto.drop")) / low("contact.series"),
    )


def contact_drive() -> Span:
    span = contact_current()
    return Span(span.least * _RATIO_LOW, span.most * _RATIO_HIGH)


def foreign() -> Span:
    return Span(
        1e3 * (30 * ROOT2 + low("rail.loop") - high("opto.drop")) / high("contact.series"),
        1e3 * (30 * ROOT2 + high("rail.loop") - low("diode.drop")) / low("contact.series"),
    )


def foreign_power() -> Span:
    """30 V rms and the loop's own direct voltage add in squares."""
    return Span(0, (30**2 + high("rail.loop") ** 2) / low("contact.series"))


def position_current() -> Span:
    return Span(
        1e3 * low("rail.controller") / high("position.pull_up"),
        1e3 * high("rail.controller") / low("position.pull_up"),
    )


def ladder_error() -> Span:
    """The largest bit against all the others: a share of half of each one's tolerance; the others half as much again."""
    share = _V["ladder.2r"].tolerance
    most = 1e3 * _V["rail.controller"].most() * 0.25 * 2 * share * 2
    return Span(-most, most)


def converter_high() -> Span:
    def level(rail: float, top: float, bottom: float) -> float:
        return rail * bottom / (top + bottom)

    return Span(
        level(low("rail.analog"), high("converter.top"), low("converter.bottom")),
        level(high("rail.analog"), low("converter.top"), high("converter.bottom")),
    )


def _filter(ohm: float, c1: float, c2: float, c3: float) -> tuple[float, float, float]:
    """Coefficients of 1 / (a3 s^3 + a2 s^2 + a1 s + 1): three equal resistors, C2 to the follower's output."""
    return ohm * (c1 + 3 * c3), 2 * ohm**2 * c3 * (c1 + c2), ohm**3 * c1 * c2 * c3


def _settled(a1: float, a2: float, a3: float) -> float:
    """Seconds until the answer to a step stays within a thousandth (5 mV of 5 V); steps of 5 us, midpoint rule."""
    x, v, a, step, last = 0.0, 0.0, 0.0, 5e-6, 0.0
    for n in range(3000):
        jerk = (1 - x - a1 * v - a2 * a) / a3
        mx, mv, ma = x + v * step / 2, v + a * step / 2, a + jerk * step / 2
        jerk = (1 - mx - a1 * mv - a2 * ma) / a3
        x, v, a = x + mv * step, v + ma * step, a + jerk * step
        if abs(x - 1) > 1e-3:
            last = (n + 1) * step
    return last


#: Corners of the filter: sign of the tolerance of resistors, C1, C2, C3.
FILTER_CORNERS = [(r, a, b, c) for r in (-1, 1) for a in (-1, 1) for b in (-1, 1) for c in (-1, 1)]


def filter_part(key: str, sign: int) -> float:
    return low(key) if sign < 0 else high(key)


def _corners() -> list[tuple[float, float, float, float]]:
    keys = ("sensor.filter_r", "sensor.filter_c1", "sensor.filter_c2", "sensor.filter_c3")
    found = []
    for corner in FILTER_CORNERS:
        ohm, c1, c2, c3 = (filter_part(k, s) for k, s in zip(keys, corner, strict=True))
        found.append((ohm, c1, c2, c3))
    return found


def settle() -> Span:
    times = [1e3 * _settled(*_filter(*corner)) for corner in _corners()]
    return Span(min(times), max(times))


def slowest_corner() -> tuple[int, int, int, int]:
    """The corner of the filter that takes longest, for the check by ngspice."""
    return _corner(max)


def quickest_corner() -> tuple[int, int, int, int]:
    return _corner(min)


def _corner(end: Callable[[list[float]], float]) -> tuple[int, int, int, int]:
    times = [_settled(*_filter(*corner)) for corner in _corners()]
    return FILTER_CORNERS[times.index(end(times))]


def ripple() -> Span:
    """The fundamental of a square wave of 5 V: 2/pi of it as a peak, through the filter."""
    s = 2j * math.pi * 6400
    sizes = []
    for corner in _corners():
        a1, a2, a3 = _filter(*corner)
        sizes.append(1e3 * 5 * 2 / math.pi / abs(a3 * s**3 + a2 * s**2 + a1 * s + 1))
    return Span(min(sizes), max(sizes))


def buffer_error() -> Span:
    """At half scale 2.5 V over the first resistor flow out half of the time and in the other half."""
    apart = abs(_V["sensor.buffer_up"].value - _V["sensor.buffer_down"].value)
    most = 1e3 * _V["rail.reference"].value * 0.25 * apart / low("sensor.filter_r")
    return Span(-most, most)


def unpowered() -> Span:
    return Span(
        1e3 * low("rail.reference") / high("sensor.series"),
        1e3 * high("rail.reference") / low("sensor.series"),
    )


def stuck() -> Span:
    return Span(
        1e3 * low("rail.analog") / high("sensor.series"), 1e3 * high("rail.analog") / low("sensor.series")
    )


def _clamped(rail: float, ohm: float) -> float:
    """Where the buffer's supply, through the series resistor, meets the clamp's diode (1e-14 A, 25.9 mV)."""
    volts = rail
    for _ in range(200):
        volts = 0.5 * (volts + rail + 0.0259 * math.log(max(high("rail.analog") - volts, 1e-6) / ohm / 1e-14))
    return volts


def clamp_5() -> Span:
    return Span(
        high("rail.reference"),
        min(high("rail.analog"), _clamped(high("rail.reference"), low("sensor.series"))),
    )


def _divider() -> Span:
    def part(top: float, bottom: float) -> float:
        return _V["rail.reference"].value * bottom / (top + bottom)

    return Span(
        part(high("sensor.clamp_top"), low("sensor.clamp_bottom")),
        part(low("sensor.clamp_top"), high("sensor.clamp_bottom")),
    )


def clamp_3() -> Span:
    return Span(_divider().least, _clamped(_divider().most, low("sensor.series")))


def clamp_error_3() -> Span:
    over = 3.0 - _divider().least
    forward = 1e-14 * math.exp(over / 0.0259)
    return Span(-1e3 * (forward + _LEAK) * high("sensor.series"), 1e3 * _LEAK * high("sensor.series"))


def clamp_error_5() -> Span:
    """Only what the two diodes leak."""
    return Span(-1e3 * _LEAK * high("sensor.series"), 1e3 * _LEAK * high("sensor.series"))


def load() -> Span:
    return Span(
        100 * low("sensor.series") / (low("sensor.series") + 100e3),
        100 * high("sensor.series") / (high("sensor.series") + 100e3),
    )


def _scale(gain: float, sign: int) -> float:
    """mV for each volt rms of a sine: divider, isolation amplifier, mean of the rectified, gain."""
    top = _V["rms.top"].value * (1 - sign * _V["rms.top"].tolerance)
    bottom = _V["rms.bottom"].value * (1 + sign * _V["rms.bottom"].tolerance)
    isolator = 1 + sign * _V["rms.isolator"].tolerance
    return 1e3 * bottom / (top + bottom) * isolator * 2 * ROOT2 / math.pi * gain / _V["rms.unit"].value


def trimmed() -> float:
    """Where the trimming resistor stands in a fixture of nominal parts."""
    return _V["rms.gain"].value * (100 / _scale(_V["rms.gain"].value, 0) - 1)


def trim_low() -> Span:
    return Span(_scale(low("rms.gain"), -1), _scale(high("rms.gain"), 1))


def trim_high() -> Span:
    return Span(_scale(low("rms.gain") + low("rms.trim"), -1), _scale(high("rms.gain") + high("rms.trim"), 1))


def rms_ripple() -> Span:
    """Twice the frequency: two thirds of the mean as a peak, through both time constants."""
    mean_mv = 24 * 100
    omega = 2 * math.pi * 120
    first = math.hypot(1, omega * 55.5e3 * _V["rms.smooth"].value)
    second = math.hypot(1, omega * _V["rms.second"].value * _V["rms.second_smooth"].value)
    one = mean_mv * 2 / 3 / first / second
    return Span(one * 0.8, one * 1.25)


def direct() -> Span:
    one = 100 * math.pi / (2 * ROOT2)
    return Span(one, one)


def light_current() -> Span:
    """The buffer's lower threshold across the resistor."""
    return Span(
        1e3 * (low("rail.controller") - 1.2) / high("light.pull_up"),
        1e3 * (high("rail.controller") - 1.2) / low("light.pull_up"),
    )


def bus_idle() -> Span:
    """A divider of both bias resistors and the two terminations beside each other."""

    def of(end: Callable[[str], float], other: Callable[[str], float]) -> float:
        ohm = end("bus.termination") / 2
        return 1e3 * end("rail.controller") * ohm / (2 * other("bus.bias") + ohm)

    return Span(of(low, high), of(high, low))


def bus_load() -> Span:
    """The terminations beside the bias, whose rails are joined for what moves."""

    def of(end: Callable[[str], float]) -> float:
        return _beside(end("bus.termination") / 2, 2 * end("bus.bias"))

    return Span(of(low), of(high))


def bus_unpowered() -> Span:
    """What A and B take up together: the termination only shares it between them."""

    def of(end: Callable[[str], float], other: Callable[[str], float]) -> float:
        return 1e3 * end("rail.controller") / (other("unit.load") + other("bus.bias"))

    return Span(of(low, high), of(high, low))


WORKED: dict[str, Callable[[], Span]] = {
    "ac.threshold": threshold,
    "ac.gap_60": lambda: gap(60),
    "ac.gap_50": lambda: gap(50),
    "ac.led_peak": led_peak,
    "ac.drive": ac_drive,
    "ac.series_power": series_power,
    "ac.zener_power": zener_power,
    "ac.ignored": ignored,
    "ac.snubber": snubber,
    "ac.dummy_power": dummy_power,
    "ac.dummy_current": dummy_current,
    "driver.gate_reset": gate_reset,
    "driver.pin": driver_pin,
    "driver.coil": coil_volts,
    "driver.drain_peak": drain_peak,
    "driver.release": release,
    "main.led": main_led,
    "main.gate_on": gate_on,
    "main.gate_reset": main_gate_reset,
    "main.on_time": on_time,
    "main.off_time": off_time,
    "main.position": main_position,
    "main.drop": main_drop,
    "main.load": main_load,
    "main.cut_peak": cut_peak,
    "main.inrush": inrush,
    "main.inrush_melting": inrush_melting,
    "contact.current": contact_current,
    "contact.drive": contact_drive,
    "contact.foreign": foreign,
    "contact.foreign_power": foreign_power,
    "position.current": position_current,
    "ladder.error": ladder_error,
    "converter.high": converter_high,
    "sensor.settle": settle,
    "sensor.ripple": ripple,
    "sensor.buffer": buffer_error,
    "sensor.unpowered": unpowered,
    "sensor.stuck": stuck,
    "sensor.clamp_5": clamp_5,
    "sensor.clamp_3": clamp_3,
    "sensor.clamp_error_5": clamp_error_5,
    "sensor.clamp_error_3": clamp_error_3,
    "sensor.load": load,
    "rms.trim_low": trim_low,
    "rms.trim_high": trim_high,
    "rms.ripple": rms_ripple,
    "rms.direct": direct,
    "light.current": light_current,
    "bus.idle": bus_idle,
    "bus.load": bus_load,
    "bus.unpowered": bus_unpowered,
}
