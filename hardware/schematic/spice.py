"""Sheets as a netlist for ngspice: the same parts and values as the pictures, models of our own.

The models are as plain as the question allows: diodes, Zener diodes and
transistors by their rated figures, optocouplers by their current ratio and a
lag of 10 us (storage in saturation is not modelled), operational amplifiers by
gain, bandwidth and rails.  Everything is at 27 degC.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping

from hardware.schematic.sheet import Part, Sheet, Value

MODELS = """\
.model dsignal d(is=2.5n n=1.75 rs=0.6 cjo=4p bv=110)
.model dlow d(is=1e-14 n=1 rs=1 cjo=2p)
.model dlight d(is=4.5e-15 n=1.7 rs=2 cjo=10p)
.model dgreen d(is=1e-18 n=2.1 rs=5)
"""
#: Closed contact, open contact.
_CLOSED, _OPEN = 0.02, 1e12


class Circuit:
    """Sheets joined by the names of their nets.  `picks`: key -> "least", "most" or a number instead of the nominal."""

    def __init__(self, values: Mapping[str, Value], picks: Mapping[str, str | float] | None = None) -> None:
        self._values = values
        self._picks = dict(picks or {})
        if unknown := self._picks.keys() - values.keys():
            raise KeyError(f"values.csv has no {', '.join(sorted(unknown))}")
        self.lines: list[str] = [".title papers", *MODELS.splitlines()]

    def value(self, key: str) -> float:
        pick = self._picks.get(key)
        row = self._values[key]
        if isinstance(pick, str):
            return {"least": min, "most": max}[pick](row.least(), row.most())
        return row.value if pick is None else pick

    def add(
        self,
        sheet: Sheet,
        prefix: str = "",
        *,
        only: str | None = None,
        closed: Iterable[str] = (),
        leave: Iterable[str] = (),
        own: Mapping[str, float] | None = None,
    ) -> None:
        """`only`: the use; `closed`: contacts that are; `leave`: parts left out; `own`: reference -> its own value.

        Nets that start with a capital letter or a sign are shared by all
        sheets of a circuit, unless a prefix is given.
        """
        nets = {k: node(v, prefix) for k, v in sheet.pin_nets().items()}
        for part in sheet.parts:
            if part.ref in leave or (part.only is not None and part.only != only):
                continue
            pins = {name: nets[part.ref, name] for name in part.pins()}
            amount = (own or {}).get(part.ref)
            if amount is None and part.value in self._values:
                amount = self.value(part.value)
            self.lines += self._element(part, prefix + part.ref, pins, amount, part.ref in closed)

    def put(self, *lines: str) -> None:
        """Sources and loads of a test."""
        self.lines += lines

    def text(self, analysis: Iterable[str]) -> str:
        return "\n".join([*self.lines, ".control", "set noaskquit", *analysis, ".endc", ".end", ""])

    def _element(
        self, part: Part, name: str, pins: dict[str, str], amount: float | None, closed: bool
    ) -> list[str]:
        ends = list(pins.values())
        kind = part.kind
        if kind in ("R", "C"):
            return [f"{kind}{name} {ends[0]} {ends[1]} {amount:g}"]
        if kind == "FUSE":
            return [f"R{name} {ends[0]} {ends[1]} 0.05"]
        if kind in ("NO", "NC"):
            shut = closed if kind == "NO" else not closed
            return [f"R{name} {ends[0]} {ends[1]} {_CLOSED if shut else _OPEN:g}"]
        if kind in ("SPDT", "LINK"):
            common, first, second = ends
            return [
                f"R{name}a {common} {first} {_OPEN if closed else _CLOSED:g}",
                f"R{name}b {common} {second} {_CLOSED if closed else _OPEN:g}",
            ]
        if kind == "COIL":
            henry = self.value("coil.linked_henry")
            return [f"R{name} {ends[0]} {name}_x {amount:g}", f"L{name} {name}_x {ends[1]} {henry:g}"]
        if kind == "D":
            return [
                f"D{name} {ends[0]} {ends[1]} {'dlow' if part.value == 'sensor.clamp_diode' else 'dsignal'}"
            ]
        if kind == "LAMP":
            return [f"D{name} {ends[0]} {ends[1]} dgreen"]
        if kind == "Z":
            return [
                f"D{name} {ends[0]} {ends[1]} m_{name}",
                f".model m_{name} d(is=1e-14 n=1 rs=5 bv={amount:g} ibv=5m)",
            ]
        if kind == "TVS":
            return [
                f"D{name}a {name}_x {ends[0]} m_{name}",
                f"D{name}b {name}_x {ends[1]} m_{name}",
                f".model m_{name} d(is=1e-14 n=1 rs=0.5 bv={amount:g} ibv=1m)",
            ]
        if kind == "NMOS":
            return self._transistor(part, name, pins, amount or 0.0)
        if kind in ("OPTO", "OPTO-AC"):
            return self._opto(kind, name, pins)
        if kind == "AMP":
            return _amplifier(name, pins)
        if kind == "BUFFER":
            up, down = self.value("sensor.buffer_up"), self.value("sensor.buffer_down")
            high, out = f"V({pins['i']}) > 1.4", f"V({pins['o']})"
            return [f"B{name} {pins['o']} 0 I = {high} ? ({out} - 5) / {up:g} : {out} / {down:g}"]
        raise KeyError(f"{kind} has no model")

    def _transistor(self, part: Part, name: str, pins: dict[str, str], ohm: float) -> list[str]:
        main = part.value.startswith("main")
        threshold = self.value("main.threshold_most" if main else "driver.threshold")
        farad = self.value("main.fet_capacitance") if main else 100e-12
        return [
            f"M{name} {pins['d']} {pins['g']} {pins['s']} m_{name}",
            f".model m_{name} vdmos(nchan vto={threshold:g} kp=40 rd={0.5 * ohm:g} rs={0.3 * ohm:g} "
            f"cgs={farad:g} cgdmin=20p cgdmax=200p is=1e-12 rb=10m)",
        ]

    def _opto(self, kind: str, name: str, pins: dict[str, str]) -> list[str]:
        ratio = self.value("opto.dc" if kind == "OPTO" else "opto.ac")
        anode, cathode = list(pins.values())[:2]
        back = [f"D{name}b {name}_d {anode} dlight"] if kind == "OPTO-AC" else []
        return [
            f"D{name}a {anode} {name}_d dlight",
            *back,
            f"V{name} {name}_d {cathode} 0",
            f"B{name}l {name}_l 0 V = 1000 * abs(I(V{name}))",
            f"R{name}l {name}_l {name}_m 1k",
            f"C{name}l {name}_m 0 10n",
            f"B{name}c {pins['c']} {pins['e']} I = {ratio:g} * V({name}_m) / 1000 * "
            f"tanh(V({pins['c']},{pins['e']}) / 0.1)",
            f"C{name}c {pins['c']} {pins['e']} 10p",
        ]


def _amplifier(name: str, pins: dict[str, str]) -> list[str]:
    """Gain 1e5, 1 MHz, rails +5.4 V and -4.9 V, 50 ohm."""
    return [
        f"G{name} 0 {name}_x {pins['p']} {pins['m']} 1m",
        f"R{name}x {name}_x 0 100meg",
        f"C{name}x {name}_x 0 159p",
        f"B{name}x {name}_x 0 I = V({name}_x) > 5.4 ? V({name}_x) - 5.4 : (V({name}_x) < -4.9 ? V({name}_x) + 4.9 : 0)",
        f"E{name} {name}_o 0 {name}_x 0 1",
        f"R{name}o {name}_o {pins['o']} 50",
        f"R{name}i {pins['p']} 0 1e12",
    ]


def node(net: str, prefix: str = "") -> str:
    """A net's name as ngspice takes it; LGND is its 0."""
    if net == "LGND":
        return "0"
    signs = {"+": "p_", "-": "m_", "@": "pin_", "=": "at_"}
    plain = signs.get(net[0], net[0]) + net[1:]
    plain = re.sub(r"\W", "_", plain).lower()
    return f"{prefix}{plain}" if prefix else plain
