"""Contacts, read-backs of relays, converter, light."""

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


def _loop(end: str, rail: float, ratio: float = FRESH) -> Circuit:
    circuit = Circuit(VALUES, {"contact.series": end, "opto.dc": ratio})
    circuit.add(SHEETS["contact"])
    circuit.put(f"VA p_12_a 0 {rail:g}", "V5 p_5v 0 5")
    return circuit


def _closed_loop() -> Span:
    weak, strong = _loop("most", low("rail.loop")), _loop("least", high("rail.loop"))
    for circuit in (weak, strong):
        circuit.put("RK at_alarm 0 0.1")
    return point(weak, "i(VU1)")[0], point(strong, "i(VU1)")[0]


@check("contact.current")
def contact_current() -> Span:
    least, most = _closed_loop()
    return 1e3 * least, 1e3 * most


@check("contact.drive")
def contact_drive() -> Span:
    least, most = _closed_loop()
    return 1e3 * least * AGED, 1e3 * most * FRESH


def _foreign(end: str, rail: float) -> tuple[float, float]:
    circuit = _loop(end, rail)
    circuit.put(f"VS at_alarm 0 sin(0 {30 * ROOT2:g} 60)")
    time, amps = course(circuit, 20e-6, 1 / 60, "i(VA)")
    ohm = circuit.value("contact.series")
    watts = 60 * ohm * squared(time, amps)
    return 1e3 * max(abs(i) for i in amps), watts


@check("contact.foreign")
def foreign() -> Span:
    return _foreign("most", low("rail.loop"))[0], _foreign("least", high("rail.loop"))[0]


@check("contact.foreign_power")
def foreign_power() -> Span:
    return 0.0, _foreign("least", high("rail.loop"))[1]


@check("position.current")
def position_current() -> Span:
    ends = []
    for end, rail in (("most", low("rail.controller")), ("least", high("rail.controller"))):
        circuit = Circuit(VALUES, {"position.pull_up": end})
        circuit.add(SHEETS["call"], closed=["K1A", "K1B"])
        circuit.put(f"V5 p_5v 0 {rail:g}")
        ends.append(1e3 * abs(point(circuit, "i(V5)")[0]))
    return min(ends), max(ends)


@check("ladder.error")
def ladder_error() -> Span:
    """All 16 states, the last bit's resistor off against all the others, both ways round."""
    rail = high("rail.controller")
    circuit = Circuit(VALUES)
    weights = {"K1B": 1, "K2B": 2, "K3B": 4, "K4B": 8}
    keep = ("K1B", "K2B", "K3B", "K4B", "R5", "R6", "R7", "R8", "R9", "R10", "R11", "R12")
    leave = [p.ref for p in SHEETS["sensor-terminal"].parts if p.ref not in keep]
    probes, wanted = [], []
    for sign in (-1, 1):
        this, other = (low, high) if sign < 0 else (high, low)
        own = {f"R{n}": other("ladder.2r") for n in (5, 6, 7, 9)} | {"R8": this("ladder.2r")}
        own |= {f"R{n}": other("ladder.r") for n in (10, 11, 12)}
        for code in range(16):
            prefix = f"{'ab'[sign > 0]}{code}_"
            closed = [k for k, weight in weights.items() if code & weight]
            circuit.add(SHEETS["sensor-terminal"], prefix, closed=closed, leave=leave, own=own)
            circuit.put(f"V{prefix} {prefix}p_5v 0 {rail:g}")
            probes.append(f"v({prefix}pin_relays)")
            wanted.append(rail * code / 16)
    errors = [1e3 * (v - w) for v, w in zip(point(circuit, *probes), wanted, strict=True)]
    return min(errors), max(errors)


@check("converter.high")
def converter_high() -> Span:
    ends = []
    for top, bottom, rail in (("most", "least", low("rail.analog")), ("least", "most", high("rail.analog"))):
        circuit = Circuit(VALUES, {"converter.top": top, "converter.bottom": bottom})
        circuit.add(SHEETS["converter"])
        circuit.put(f"VO {net(SHEETS['converter'], 'U1', 'out')} 0 {rail:g}", "V5 p_5v 0 5")
        ends.append(point(circuit, "v(pin_data_in)")[0])
    return min(ends), max(ends)


@check("light.current")
def light_current() -> Span:
    ends = []
    for end, rail in (("most", low("rail.controller")), ("least", high("rail.controller"))):
        circuit = Circuit(VALUES, {"light.pull_up": end})
        circuit.add(SHEETS["light"], leave=["Q1"])
        at = net(SHEETS["light"], "Q1", "c")
        circuit.put(f"V5 p_5v 0 {rail:g}", f"IS {at} 0 0")
        amps, volts = sweep(circuit, "IS", 0, 0.2e-3, 1e-6, f"v({at})")
        ends.append(1e3 * crossing(amps, volts, 1.2))
    return min(ends), max(ends)
