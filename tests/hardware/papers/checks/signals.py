"""Sensor signal and volts of the supply."""

from __future__ import annotations

from collections.abc import Mapping

from hardware.schematic import worked
from hardware.schematic.spice import Circuit
from tests.hardware.papers.checks.base import ROOT2, SHEETS, VALUES, Span, check, high, low, mean, net
from tests.hardware.papers.ngspice import course, point

# -- sensor signal --------------------------------------------------------------------------

_SOURCE = SHEETS["sensor-source"]
_BUFFER_OUT = net(_SOURCE, "U2", "o")


def _source(pin: str, picks: dict[str, str | float] | None = None) -> Circuit:
    circuit = Circuit(VALUES, picks)
    circuit.add(_SOURCE, closed=["J1"])
    circuit.put("VR p_5_ref 0 5", f"VP pin_pwm 0 {pin}")
    return circuit


@check("sensor.settle")
def settle() -> Span:
    """The slowest and the quickest corner that the formulas found."""

    def time_of(signs: tuple[int, int, int, int]) -> float:
        keys = ("sensor.filter_r", "sensor.filter_c1", "sensor.filter_c2", "sensor.filter_c3")
        picks: dict[str, str | float] = {
            k: "least" if s < 0 else "most" for k, s in zip(keys, signs, strict=True)
        }
        circuit = _source("pulse(0 5 0.1m 1u 1u 1 2)", picks)
        time, volts = course(circuit, 10e-6, 12e-3, f"v({_BUFFER_OUT})")
        return 1e3 * (max(t for t, v in zip(time, volts, strict=True) if abs(v - 5) > 5e-3) - 0.1e-3)

    return time_of(worked.quickest_corner()), time_of(worked.slowest_corner())


@check("sensor.ripple")
def ripple() -> Span:
    ends = []
    for end in ("most", "least"):
        keys = ("sensor.filter_r", "sensor.filter_c1", "sensor.filter_c2", "sensor.filter_c3")
        circuit = _source("pulse(0 5 0 1u 1u 77.125u 156.25u)", dict.fromkeys(keys, end))
        time, volts = course(circuit, 4e-6, 14e-3, f"v({_BUFFER_OUT})")
        late = [v for t, v in zip(time, volts, strict=True) if t > 13e-3]
        ends.append(1e3 * (max(late) - min(late)) / 2)
    return min(ends), max(ends)


@check("sensor.buffer")
def buffer_error() -> Span:
    ends = []
    for up, down in ((70.0, 30.0), (30.0, 70.0)):
        # Edges so steep that where the gate turns does not matter.
        circuit = _source(
            "pulse(0 5 0 1n 1n 78.124u 156.25u)", {"sensor.buffer_up": up, "sensor.buffer_down": down}
        )
        time, volts = course(circuit, 4e-6, 15.625e-3, f"v({_BUFFER_OUT})")
        late = [(t, v) for t, v in zip(time, volts, strict=True) if t >= 15.625e-3 - 10 * 156.25e-6]
        ends.append(1e3 * (mean(late) - 2.5))
    return min(ends), max(ends)


def _held(
    volts: float, picks: Mapping[str, str] | None = None, *, at_5: bool = True, without: tuple[str, ...] = ()
) -> Circuit:
    """The buffer's output held at a voltage."""
    circuit = Circuit(VALUES, picks)
    circuit.add(_SOURCE, closed=["J1"] if at_5 else [], leave=["U1", "U2", *without])
    circuit.put(f"VR p_5_ref 0 {high('rail.reference'):g}", f"VB {_BUFFER_OUT} 0 {volts:g}")
    circuit.put("VP pin_pwm 0 0", "RG sig 0 1e12")
    return circuit


def _into_0(volts: float, end: str) -> float:
    circuit = _held(volts, {"sensor.series": end})
    circuit.put("VX sig 0 0")
    return 1e3 * point(circuit, "i(VX)")[0]


@check("sensor.unpowered")
def unpowered() -> Span:
    return _into_0(low("rail.reference"), "most"), _into_0(high("rail.reference"), "least")


@check("sensor.stuck")
def stuck() -> Span:
    return _into_0(low("rail.analog"), "most"), _into_0(high("rail.analog"), "least")


@check("sensor.clamp_5")
def clamp_5() -> Span:
    most = point(_held(high("rail.analog"), {"sensor.series": "least"}), "v(sig)")[0]
    return high("rail.reference"), most


@check("sensor.clamp_3")
def clamp_3() -> Span:
    circuit = _held(
        high("rail.analog"),
        {"sensor.series": "least", "sensor.clamp_top": "least", "sensor.clamp_bottom": "most"},
        at_5=False,
    )
    return low("sensor.clamp_bottom") / (low("sensor.clamp_bottom") + high("sensor.clamp_top")) * 5, point(
        circuit, "v(sig)"
    )[0]


def _taken(volts: float, at_5: bool) -> float:
    picks = {"sensor.clamp_top": "most", "sensor.clamp_bottom": "least", "sensor.series": "most"}
    with_clamp = point(_held(volts, picks, at_5=at_5), "v(sig)")[0]
    return 1e3 * (with_clamp - point(_held(volts, picks, at_5=at_5, without=("D1", "D2")), "v(sig)")[0])


@check("sensor.clamp_error_5")
def clamp_error_5() -> Span:
    return (one := _taken(5.0, True)), one


@check("sensor.clamp_error_3")
def clamp_error_3() -> Span:
    return (one := _taken(3.0, False)), one


@check("sensor.load")
def load() -> Span:
    ends = []
    for end in ("least", "most"):
        circuit = _held(4.5, {"sensor.series": end})
        circuit.put("RX sig 0 100k")
        ends.append(100 * (1 - point(circuit, "v(sig)")[0] / 4.5))
    return min(ends), max(ends)


# -- volts of the supply --------------------------------------------------------------------


def _volts(source: str, trim: float, sign: int) -> tuple[float, float]:
    """Mean and peak of the ripple at the controller's pin, in mV, settled."""
    ends = {-1: ("most", "least"), 0: (None, None), 1: ("least", "most")}[sign]
    picks: dict[str, str | float] = {}
    if ends[0] is not None and ends[1] is not None:
        picks = {"rms.top": ends[0], "rms.bottom": ends[1], "rms.isolator": ends[1], "rms.gain": ends[1]}
    # The smoothing of both stages is shorter where only the mean is looked at: the mean does not depend on it.
    if sign:
        picks |= {"rms.smooth": 0.25e-6, "rms.second_smooth": 1.2e-6}
    circuit = Circuit(VALUES, picks)
    sheet = SHEETS["rms"]
    circuit.add(sheet, own={"R12": trim})
    gain = 0.5 * circuit.value("rms.isolator")
    inside, plus, minus = (net(sheet, "U1", pin) for pin in ("in", "out+", "out-"))
    circuit.put(f"VS at_sensed 0 {source}", "VC c 0 0")
    circuit.put(
        f"BP {plus} 0 V = 1.65 + {gain:g} * V({inside},c)",
        f"BM {minus} 0 V = 1.65 - {gain:g} * V({inside},c)",
    )
    end = 0.3 if sign else 0.8
    time, volts = course(circuit, 100e-6, end, "v(pin_rms)")
    late = [(t, v) for t, v in zip(time, volts, strict=True) if t >= end - 2 / 60]
    return 1e3 * mean(late), 1e3 * (max(v for _, v in late) - min(v for _, v in late)) / 2


_SINE = f"sin(0 {24 * ROOT2:g} 60)"


@check("rms.trim_low")
def trim_low() -> Span:
    return _volts(_SINE, 0.1, -1)[0] / 24, _volts(_SINE, 0.1, 1)[0] / 24


@check("rms.trim_high")
def trim_high() -> Span:
    return _volts(_SINE, low("rms.trim"), -1)[0] / 24, _volts(_SINE, high("rms.trim"), 1)[0] / 24


@check("rms.ripple")
def rms_ripple() -> Span:
    middle, one = _volts(_SINE, worked.trimmed(), 0)
    assert abs(middle / 24 - 100) < 1, middle
    return one, one


@check("rms.direct")
def direct() -> Span:
    return (one := _volts("24", worked.trimmed(), 0)[0] / 24), one
