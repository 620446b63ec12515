"""One check by ngspice for every row of hardware/schematic/claims.csv: (least, most), over the corners that matter.

The circuits are the sheets of the schematic with the values of values.csv;
only sources and loads are added here.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Mapping

from hardware.schematic import worked
from hardware.schematic.sheet import Sheet, read_sheets, read_values
from hardware.schematic.spice import Circuit, node
from tests.hardware.papers.ngspice import course, crossing, point, sweep

VALUES = read_values()
SHEETS = {sheet.name.split("-", 1)[1]: sheet for sheet in read_sheets()}
ROOT2 = math.sqrt(2)
FRESH, AGED = VALUES["opto.ratio_most"].value, VALUES["opto.ratio_least"].value * VALUES["opto.aged"].value

Span = tuple[float, float]
CHECKS: dict[str, Callable[[], Span]] = {}


def check(key: str) -> Callable[[Callable[[], Span]], Callable[[], Span]]:
    def keep(function: Callable[[], Span]) -> Callable[[], Span]:
        assert key not in CHECKS
        CHECKS[key] = function
        return function

    return keep


def net(sheet: Sheet, ref: str, pin: str) -> str:
    return node(sheet.pin_nets()[ref, pin])


def low(key: str) -> float:
    return VALUES[key].least()


def high(key: str) -> float:
    return VALUES[key].most()


# -- 24 V inputs -----------------------------------------------------------------------------


def _input(early: bool, *, dummy: bool = False) -> Circuit:
    """`early`: all that makes it read on at a low voltage; else all that makes it late."""
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


def _level(early: bool) -> float:
    return VALUES["pin.high" if early else "pin.low"].value


@check("ac.threshold")
def threshold() -> Span:
    def at(early: bool, source: float) -> float:
        circuit = _input(early)
        circuit.put("VS at_sensed 0 0")
        volts, pin = sweep(circuit, "VS", 0, source, source / 400, "v(pin_sense)")
        return abs(crossing(volts, pin, _level(early)))

    ends = [at(early, source) for early in (True, False) for source in (20, -20)]
    return min(ends), max(ends)


def _gap(hertz: float) -> Span:
    def at(early: bool) -> float:
        circuit = _input(early)
        circuit.put(f"VS at_sensed 0 sin(0 {18 * ROOT2:g} {hertz:g})")
        time, pin = course(circuit, 10e-6, 1.5 / hertz, "v(pin_sense)")
        begin = crossing(time, pin, _level(early), after=0.3 / hertz)  # end of the first pulse
        return 1e3 * (crossing(time, pin, _level(early), after=begin + 1e-4) - begin)

    return at(True), at(False)


@check("ac.gap_60")
def gap_60() -> Span:
    return _gap(60)


@check("ac.gap_50")
def gap_50() -> Span:
    return _gap(50)


def _peak_current(early: bool, rms: float) -> float:
    circuit = _input(early)
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
        circuit = _input(early)
        circuit.put(f"VS at_sensed 0 sin(0 {30 * ROOT2:g} 60)")
        ohm = circuit.value("ac.series")
        time, amps = course(circuit, 20e-6, 1 / 60, "i(VU1)")
        steps = zip(time, time[1:], amps, strict=False)
        return 60 * ohm * sum((b - a) * i * i for a, b, i in steps)

    return watts(False), watts(True)


@check("ac.zener_power")
def zener_power() -> Span:
    ends = []
    for early in (True, False):
        circuit = _input(early)
        circuit.put("VS at_sensed 0 30")
        a, b = net(SHEETS["ac-input"], "Z1", "k"), net(SHEETS["ac-input"], "Z2", "a")
        amps, one, other = point(circuit, "i(VU1)", f"v({a})", f"v({b})")
        ends.append(abs(amps * (one - other)))
    return min(ends), max(ends)


@check("ac.ignored")
def ignored() -> Span:
    def at(early: bool) -> float:
        circuit = _input(early, dummy=True)
        circuit.put("IS 0 at_sensed 0")
        amps, pin = sweep(circuit, "IS", 0, 0.05, 1e-4, "v(pin_sense)")
        return 1e3 * crossing(amps, pin, _level(early)) / ROOT2

    return at(True), at(False)


@check("ac.snubber")
def snubber() -> Span:
    def peak(early: bool) -> float:
        circuit = _input(early, dummy=True)
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


# -- coils -----------------------------------------------------------------------------------


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


# -- main switch -----------------------------------------------------------------------------

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
        circuit = _input(True, dummy=dummy)
        circuit.put(f"VS at_sensed 0 sin(0 {24 * ROOT2:g} 60)")
        time, amps = course(circuit, 20e-6, 1 / 60, "i(VS)")
        return math.sqrt(60 * sum((b - a) * i * i for a, b, i in zip(time, time[1:], amps, strict=False)))

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
    melting = sum((b - a) * i * i for a, b, i in zip(time, time[1:], amps, strict=False))
    return max(abs(i) for i in amps), melting


@check("main.inrush")
def inrush() -> Span:
    return 0.0, _inrush()[0]


@check("main.inrush_melting")
def inrush_melting() -> Span:
    return 0.0, _inrush()[1]


# -- contacts, light, converter --------------------------------------------------------------


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
    watts = 60 * ohm * sum((b - a) * i * i for a, b, i in zip(time, time[1:], amps, strict=False))
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


# -- sensor signal ---------------------------------------------------------------------------

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
        mean = sum((b[0] - a[0]) * (a[1] + b[1]) / 2 for a, b in itertools.pairwise(late))
        ends.append(1e3 * (mean / (late[-1][0] - late[0][0]) - 2.5))
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


# -- volts of the supply ---------------------------------------------------------------------


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
    mean = sum((b[0] - a[0]) * (a[1] + b[1]) / 2 for a, b in itertools.pairwise(late))
    mean /= late[-1][0] - late[0][0]
    return 1e3 * mean, 1e3 * (max(v for _, v in late) - min(v for _, v in late)) / 2


_SINE = f"sin(0 {24 * ROOT2:g} 60)"


@check("rms.trim_low")
def trim_low() -> Span:
    return _volts(_SINE, 0.1, -1)[0] / 24, _volts(_SINE, 0.1, 1)[0] / 24


@check("rms.trim_high")
def trim_high() -> Span:
    return _volts(_SINE, low("rms.trim"), -1)[0] / 24, _volts(_SINE, high("rms.trim"), 1)[0] / 24


@check("rms.ripple")
def rms_ripple() -> Span:
    mean, one = _volts(_SINE, worked.trimmed(), 0)
    assert abs(mean / 24 - 100) < 1, mean
    return one, one


@check("rms.direct")
def direct() -> Span:
    return (one := _volts("24", worked.trimmed(), 0)[0] / 24), one
