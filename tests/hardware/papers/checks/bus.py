"""The bus of a Modbus sensor at rest, and what its driver has to move."""

from __future__ import annotations

from hardware.schematic.spice import Circuit
from tests.hardware.papers.checks.base import SHEETS, VALUES, Span, check, high, low, net
from tests.hardware.papers.ngspice import point

_BUS = SHEETS["bus"]
_A, _B = net(_BUS, "R4", "1"), net(_BUS, "R5", "1")
_JUMPERS = ["J1", "J2", "J3", "K1A", "K1B"]


def _circuit(bias: str, termination: str, rail: float) -> Circuit:
    circuit = Circuit(VALUES, {"bus.bias": bias, "bus.termination": termination})
    circuit.add(_BUS, closed=_JUMPERS)
    ohm = circuit.value("bus.termination")
    circuit.put(f"V5 p_5v 0 {rail:g}", f"RT at_bus_a at_bus_b {ohm:g}")
    return circuit


@check("bus.idle")
def idle() -> Span:
    ends = [
        _circuit("most", "least", low("rail.controller")),
        _circuit("least", "most", high("rail.controller")),
    ]
    least, most = (1e3 * point(c, "v(at_bus_a,at_bus_b)")[0] for c in ends)
    return least, most


@check("bus.load")
def load() -> Span:
    found = []
    for end in ("least", "most"):
        circuit = _circuit(end, end, 0.0)
        circuit.put("I1 at_bus_b at_bus_a 0.001")
        found.append(point(circuit, "v(at_bus_a,at_bus_b)")[0] / 0.001)
    return found[0], found[1]


@check("bus.unpowered")
def unpowered() -> Span:
    found = []
    for end, rail in (("most", low("rail.controller")), ("least", high("rail.controller"))):
        circuit = _circuit(end, "least", rail)
        ohm = VALUES["unit.load"].value
        circuit.put("VL load 0 0", f"RA at_bus_a load {ohm:g}", f"RB at_bus_b load {ohm:g}")
        found.append(1e3 * point(circuit, "i(VL)")[0])
    return found[0], found[1]
