"""24 V inputs."""

from __future__ import annotations

from hardware.schematic.spice import Circuit
from tests.hardware.papers.checks.base import (
    AGED,
    FRESH,
    ROOT2,
    SHEETS,
    VALUES,
    Span,
    check,
    high,
    low,
    net,
    squared,
)
from tests.hardware.papers.ngspice import course, crossing, point, sweep


def input_24v(early: bool, *, dummy: bool = False) -> Circuit:
    """One input.  `early`: all that makes it read on at a low voltage; else all that makes it late."""
    end = "least" if early else "most"
    circuit = Circuit(
        VALUES,
        {
            "ac.zener": end,
            "ac.series": end,
            "opto.ac": FRESH if early else AGED,
            "ac.pull_up": "most" if early else "least",
            "ac.dummy": "most" if early else "least",
        },
    )
    circuit.add(SHEETS["ac-input"], only="output.sense" if dummy else None)
    rail = low("rail.controller") if early else high("rail.controller")
    circuit.put(f"V5 p_5v 0 {rail:g}", "VC c 0 0")
    if not early:
        circuit.put(f"Rpin p_5v pin_sense {VALUES['pull.controller'].value:g}")
    return circuit


def level(early: bool) -> float:
    return VALUES["pin.high" if early else "pin.low"].value


@check("ac.threshold")
def threshold() -> Span:
    def at(early: bool, source: float) -> float:
        circuit = input_24v(early)
        circuit.put("VS at_sensed 0 0")
        volts, pin = sweep(circuit, "VS", 0, source, source / 400, "v(pin_sense)")
        return abs(crossing(volts, pin, level(early)))

    ends = [at(early, source) for early in (True, False) for source in (20, -20)]
    return min(ends), max(ends)


def _gap(hertz: float) -> Span:
    def at(early: bool) -> float:
        circuit = input_24v(early)
        circuit.put(f"VS at_sensed 0 sin(0 {18 * ROOT2:g} {hertz:g})")
        time, pin = course(circuit, 10e-6, 1.5 / hertz, "v(pin_sense)")
        begin = crossing(time, pin, level(early), after=0.3 / hertz)  # end of the first pulse
        return 1e3 * (crossing(time, pin, level(early), after=begin + 1e-4) - begin)

    return at(True), at(False)


@check("ac.gap_60")
def gap_60() -> Span:
    return _gap(60)


@check("ac.gap_50")
def gap_50() -> Span:
    return _gap(50)


def _peak_current(early: bool, rms: float) -> float:
    circuit = input_24v(early)
    circuit.put(f"VS at_sensed 0 {rms * ROOT2:g}")
    return abs(point(circuit, "i(VU1)")[0])


@check("ac.led_peak")
def led_peak() -> Span:
    return 1e3 * _peak_current(False, 30), 1e3 * _peak_current(True, 30)


@check("ac.drive")
def ac_drive() -> Span:
    return 1e3 * AGED * _peak_current(False, 18), 1e3 * FRESH * _peak_current(True, 18)


@check("ac.series_power")
def series_power() -> Span:
    def watts(early: bool) -> float:
        circuit = input_24v(early)
        circuit.put(f"VS at_sensed 0 sin(0 {30 * ROOT2:g} 60)")
        ohm = circuit.value("ac.series")
        time, amps = course(circuit, 20e-6, 1 / 60, "i(VU1)")
        return 60 * ohm * squared(time, amps)

    return watts(False), watts(True)


@check("ac.zener_power")
def zener_power() -> Span:
    ends = []
    for early in (True, False):
        circuit = input_24v(early)
        circuit.put("VS at_sensed 0 30")
        a, b = net(SHEETS["ac-input"], "Z1", "k"), net(SHEETS["ac-input"], "Z2", "a")
        amps, one, other = point(circuit, "i(VU1)", f"v({a})", f"v({b})")
        ends.append(abs(amps * (one - other)))
    return min(ends), max(ends)


@check("ac.ignored")
def ignored() -> Span:
    def at(early: bool) -> float:
        circuit = input_24v(early, dummy=True)
        circuit.put("IS 0 at_sensed 0")
        amps, pin = sweep(circuit, "IS", 0, 0.05, 1e-4, "v(pin_sense)")
        return 1e3 * crossing(amps, pin, level(early)) / ROOT2

    return at(True), at(False)


@check("ac.snubber")
def snubber() -> Span:
    def peak(early: bool) -> float:
        circuit = input_24v(early, dummy=True)
        circuit.put(f"VS feed 0 sin(0 {30 * ROOT2:g} 60)", "RS feed mid 100", "CS mid at_sensed 0.12u")
        time, volts = course(circuit, 20e-6, 0.1, "v(at_sensed)")
        return max(abs(v) for t, v in zip(time, volts, strict=True) if t > 0.05)

    return peak(False), peak(True)


def _dummy(rms: float, early: bool) -> float:
    circuit = Circuit(VALUES, {"ac.dummy": "most" if early else "least"})
    circuit.add(SHEETS["ac-input"], only="output.sense", leave=["R2"])
    circuit.put(f"VS at_sensed 0 {rms:g}", "VC c 0 0", "V5 p_5v 0 5")
    return abs(point(circuit, "i(VS)")[0])


@check("ac.dummy_power")
def dummy_power() -> Span:
    return 30 * _dummy(30, True), 30 * _dummy(30, False)


@check("ac.dummy_current")
def dummy_current() -> Span:
    return 1e3 * _dummy(24, True), 1e3 * _dummy(24, False)
