"""Coils and the main switch."""

from __future__ import annotations

import math

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
from tests.hardware.papers.checks.inputs import input_24v
from tests.hardware.papers.ngspice import course, crossing, point

# -- coils ----------------------------------------------------------------------------------


def _driver(**picks: str | float) -> Circuit:
    circuit = Circuit(VALUES, {k.replace("__", "."): v for k, v in picks.items()})
    circuit.add(SHEETS["driver"])
    return circuit


@check("driver.gate_reset")
def gate_reset() -> Span:
    circuit = _driver(driver__pull_down="most")
    circuit.put(
        f"VP pull 0 {high('rail.controller'):g}", f"RP pull pin_drive {VALUES['pull.controller'].value:g}"
    )
    circuit.put("V12 p_12v 0 12")
    gate = net(SHEETS["driver"], "Q1", "g")
    return 0.0, point(circuit, f"v({gate})")[0]


@check("driver.pin")
def driver_pin() -> Span:
    ends = []
    for pull, rail in (("most", low("rail.controller")), ("least", high("rail.controller"))):
        circuit = _driver(driver__pull_down=pull)
        circuit.put(f"VP pin 0 {rail:g}", f"RP pin pin_drive {VALUES['pin.ohm'].value:g}", "V12 p_12v 0 12")
        ends.append(1e3 * abs(point(circuit, "i(VP)")[0]))
    return min(ends), max(ends)


@check("driver.coil")
def driver_coil() -> Span:
    ends = []
    for coil, fet, rail in (("least", "most", low("rail.coils")), ("most", "least", high("rail.coils"))):
        circuit = _driver(coil__linked=coil, driver__fet=fet, driver__threshold=2.5)
        circuit.put(f"VP pin_drive 0 {low('rail.controller') - 0.2:g}", f"V12 p_12v 0 {rail:g}")
        ends.append(rail - point(circuit, f"v({net(SHEETS['driver'], 'Q1', 'd')})")[0])
    return min(ends), max(ends)


def _let_go(rail: float, coil: str, zener: str) -> tuple[float, float]:
    """Peak at the drain in volts; until a tenth of the current in ms."""
    circuit = _driver(coil__linked=coil, driver__zener=zener)
    circuit.put(f"V12 p_12v 0 {rail:g}", "VP pin_drive 0 pulse(5 0 0.1m 1u 1u 1 2)")
    drain = net(SHEETS["driver"], "Q1", "d")
    time, volts, amps = course(circuit, 5e-6, 3e-3, f"v({drain})", "i(LK1)")
    off = crossing(time, volts, rail + 1)
    return max(volts), 1e3 * (crossing(time, amps, 0.1 * amps[0]) - off)


@check("driver.drain_peak")
def drain_peak() -> Span:
    return _let_go(low("rail.coils"), "most", "least")[0], _let_go(high("rail.coils"), "least", "most")[0]


@check("driver.release")
def release() -> Span:
    return _let_go(low("rail.coils"), "most", "most")[1], _let_go(high("rail.coils"), "least", "least")[1]


# -- main switch ----------------------------------------------------------------------------

_GATES = f"v({net(SHEETS['main'], 'Q1', 'g')})"
_S = "v(s)"


def _main(supply: float, ratio: float, pin: str, **picks: str | float) -> Circuit:
    """`pin`: the source behind the controller's pin."""
    circuit = Circuit(VALUES, {"opto.dc": ratio, **{k.replace("__", "."): v for k, v in picks.items()}})
    circuit.add(SHEETS["main"])
    circuit.put(f"VG p_12_g s {supply:g}", "V5 p_5v 0 5", "VC c 0 0", f"VP pin 0 {pin}")
    circuit.put(f"RP pin pin_drive {VALUES['pin.ohm'].value:g}", "RFLOAT s 0 1meg", "RLOAD r_main 0 100k")
    return circuit


def _at_rest(circuit: Circuit) -> Circuit:
    circuit.put("RR at_r 0 1k", "RL r_main 0 1k")
    return circuit


@check("main.led")
def main_led() -> Span:
    weak = _at_rest(_main(10.8, AGED, f"{low('rail.controller'):g}", main__led="most"))
    strong = _at_rest(_main(10.8, AGED, f"{high('rail.controller'):g}", main__led="least"))
    return 1e3 * point(weak, "i(VU1)")[0], 1e3 * point(strong, "i(VU1)")[0]


def _weak_gate(pin: str) -> Circuit:
    return _main(
        low("main.supply"), AGED, pin, main__led="most", main__gate_pull="least", main__sense="least",
        main__fet_capacitance="most", main__fet="most",
    )  # fmt: skip


@check("main.gate_on")
def gate_on() -> Span:
    weak = _at_rest(_weak_gate(f"{low('rail.controller'):g}"))
    strong = _at_rest(_main(14, FRESH, f"{high('rail.controller'):g}", main__gate_zener="most"))
    return point(weak, f"{_GATES}-{_S}")[0], point(strong, f"{_GATES}-{_S}")[0]


@check("main.gate_reset")
def main_gate_reset() -> Span:
    circuit = Circuit(VALUES, {"opto.dc": FRESH, "driver.pull_down": "most"})
    circuit.add(SHEETS["main"])
    circuit.put("VG p_12_g s 14", "V5 p_5v 0 5.15", "VC c 0 0", "RR at_r 0 1k", "RL r_main 0 1k")
    circuit.put(f"RP p_5v pin_drive {VALUES['pull.controller'].value:g}")
    return 0.0, point(circuit, f"{_GATES}-{_S}")[0]


@check("main.on_time")
def on_time() -> Span:
    circuit = _at_rest(_weak_gate(f"pulse(0 {low('rail.controller'):g} 0.1m 1u 1u 1 2)"))
    time, volts = course(circuit, 1e-6, 0.6e-3, f"{_GATES}-{_S}")
    return 0.0, 1e3 * (crossing(time, volts, 5) - 0.1e-3)


@check("main.off_time")
def off_time() -> Span:
    circuit = _at_rest(
        _main(
            14, FRESH, f"pulse({high('rail.controller'):g} 0 0.1m 1u 1u 1 2)", main__led="least",
            main__gate_pull="most", main__sense="most", main__fet_capacitance="most",
        )
    )  # fmt: skip
    time, volts = course(circuit, 1e-6, 0.8e-3, f"{_GATES}-{_S}")
    return 0.0, 1e3 * (crossing(time, volts, 2) - 0.1e-3)


@check("main.position")
def main_position() -> Span:
    weak = _at_rest(
        _main(
            low("main.supply"), AGED, f"{low('rail.controller'):g}", main__led="most",
            main__gate_pull="least", main__sense="most",
        )
    )  # fmt: skip
    strong = _at_rest(_main(14, FRESH, f"{high('rail.controller'):g}", main__sense="least"))
    return 1e3 * AGED * point(weak, "i(VU2)")[0], 1e3 * FRESH * point(strong, "i(VU2)")[0]


@check("main.drop")
def main_drop() -> Span:
    circuit = _weak_gate(f"{low('rail.controller'):g}")
    circuit.put("VS at_r 0 24", f"RL r_main 0 {24 / 2.5:g}")
    return 0.0, abs(point(circuit, "v(r_in)-v(r_main)")[0])


@check("main.load")
def main_load() -> Span:
    """Ten outputs with their dummy loads, thirteen inputs without, and 10 VA for the board."""

    def rms(dummy: bool) -> float:
        circuit = input_24v(True, dummy=dummy)
        circuit.put(f"VS at_sensed 0 sin(0 {24 * ROOT2:g} 60)")
        time, amps = course(circuit, 20e-6, 1 / 60, "i(VS)")
        return math.sqrt(60 * squared(time, amps))

    most = 10 * rms(True) + 13 * rms(False) + 10 / 24
    return most, most


@check("main.cut_peak")
def cut_peak() -> Span:
    ends = []
    for clamp in ("least", "most"):
        circuit = _main(14, FRESH, "pulse(5 0 4.0m 1u 1u 1 2)", main__clamp=clamp, main__surge=clamp)
        circuit.put(f"VS src 0 sin(0 {30 * ROOT2:g} 60)", f"LS src at_r {VALUES['source.henry'].value:g}")
        circuit.put(f"RL r_main 0 {30 * ROOT2 / 3.5:g}")
        time, volts, amps = course(circuit, 10e-6, 4.5e-3, "v(r_in)-v(r_main)", "i(LS)")
        assert max(abs(a) for t, a in zip(time, amps, strict=True) if 3.9e-3 < t < 4.1e-3) > 3.3
        ends.append(max(abs(v) for v in volts))
    return min(ends), max(ends)


def _inrush() -> tuple[float, float]:
    circuit = _main(12, FRESH, "pulse(0 5 4.12m 1u 1u 1 2)")
    circuit.put(f"VS src 0 sin(0 {26.4 * ROOT2:g} 60)", f"RS src at_r {VALUES['source.ohm'].value:g}")
    circuit.put(".model dbridge d(is=1e-9 n=1.5 rs=0.02 cjo=500p)")
    circuit.put(
        "DB1 r_main plus dbridge", "DB2 0 plus dbridge", "DB3 minus r_main dbridge", "DB4 minus 0 dbridge"
    )
    circuit.put(f"CB plus minus {VALUES['board.capacitor'].value:g}", "RB plus minus 1k", "RM minus 0 1meg")
    # Up to where the first half cycle ends: what comes later only tops up.
    time, amps = course(circuit, 2e-6, 8.2e-3, "i(VS)")
    melting = squared(time, amps)
    return max(abs(i) for i in amps), melting


@check("main.inrush")
def inrush() -> Span:
    return 0.0, _inrush()[0]


@check("main.inrush_melting")
def inrush_melting() -> Span:
    return 0.0, _inrush()[1]
