"""The circuit: fixture, 24 VAC, and a board, wired as pins.csv of both and the hardware papers say.

What a part takes (relay times, bounce, resistances, offsets) is drawn per
circuit from its seed, within the ranges below; they are those of common parts.
"""

from __future__ import annotations

import csv
import random
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from firmware_ref.parameters import Parameters
from tests.cosim import toolchain
from tests.cosim.simulator import BY_POWER, MS, READS_LADDER, READS_RMS, READS_TERMINAL, US, S, Simulator

FIXTURE, BOARD = 0, 1
FIXTURE_MCU, BOARD_MCU = "atmega2560", "atmega1284p"
#: Relay kind -> (operate least, most, release least, most, bounce, most bounces, skew of the second pole).
RELAY = (4 * MS, 9_500 * US, 1_500 * US, 4_800 * US, 3 * MS, 3, 300 * US)
SWITCH = (100 * US, 400 * US, 100 * US, 400 * US, 0, 0, 0)
#: The board's relays: 7 ms are taken off by its firmware, whatever they take.
BOARD_RELAY = (5_500 * US, 8_500 * US, 3_500 * US, 6_500 * US, 2 * MS, 2, 0)
#: What an opto of the fixture conducts beyond, by its parts' tolerances (hardware/VALUES.md); the board's.
FIXTURE_THRESHOLD_V = (11.4, 14.9)
BOARD_THRESHOLD_V = 6.0
#: The board: its electronics live this long on their capacitor and start so long after the supply; its coils let go.
HOLD_UP_NS, RISE_NS, RAIL_NS = (15 * S, 30 * S), 5 * MS, 50 * MS
#: Bits last as long as the simulated receiver takes them to: 11 bit times a byte at 115200 baud.
BYTE_NS = 11 * 1_000_000_000 // 115_200
#: The channel of a Modbus sensor, and the UARTs at both ends.
BUS = "bus"
FIXTURE_UART, BOARD_UART = b"2", b"1"
#: PWM channel -> (TCCRnA, shift of its mode bits, OCRn, ICRn, its pin).
PWM = {
    "OC1A": (0x80, 6, 0x88, 0x86, "PB5"),
    "OC1B": (0x80, 4, 0x8A, 0x86, "PB6"),
    "OC3A": (0x90, 6, 0x98, 0x96, "PE3"),
    "OC3B": (0x90, 4, 0x9A, 0x96, "PE4"),
}
FILTER_TAU_S = 0.0006
SERIES_OHM, NORMAL_OHM, LEAK_OHM, BIAS_OHM = 6_200.0, 10_000.0, 3_300.0, 10_000.0
#: The board's pull-up, so that an open wire reads 5 V. 2.2 Mohm would move the signal by 12 mV behind the series
#: resistor, more than the procedures stay away from the bands.
LOAD_OHM, LOAD_V = 10e6, 5.0


@dataclass(frozen=True, slots=True)
class Conditions:
    """What surrounds the images.  Errors of a clock in parts per million, drift in ppm over a minute."""

    seed: int = 0
    defect: str | None = None
    fixture_ppm: float | None = None  # None: drawn within 0.4 %
    fixture_drift_ppm_a_minute: float = 0.0
    nominal: bool = False  # every part takes the middle of its range, clocks are right


@dataclass(slots=True)
class Circuit:
    """The simulator with names for what is in it."""

    simulator: Simulator
    conditions: Conditions
    #: name of a channel of the fixture + role, or of the board: `call.Y/drive`, `board:out.Y/relay` -> net
    nets: dict[str, int] = field(default_factory=dict)
    #: `call.Y`, `call.Y/second`, `sensor.1/connect`, `board:out.Y`, … -> pole
    poles: dict[str, int] = field(default_factory=dict)
    #: `source`, `feed`, `board`, `call.Y`, `out.Y` -> node
    nodes: dict[str, int] = field(default_factory=dict)
    sensors: dict[str, int] = field(default_factory=dict)


def rows(path: Path) -> list[dict[str, str]]:
    with path.open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def build(parameters: Parameters, conditions: Conditions, wiring: Mapping[str, int] | None = None) -> Circuit:
    """The circuit with both images in it and nothing powered but the source.

    `wiring`: name at the board -> channel number, where it is not the channel of that name.
    """
    chance = random.Random(f"{conditions.seed}/circuit")
    sim = Simulator(conditions.seed)
    circuit = Circuit(sim, conditions)
    hz = 16e6 * (1 + _ppm(conditions.fixture_ppm, conditions.nominal, chance, 4_000) / 1e6)
    drift = 16.0 * conditions.fixture_drift_ppm_a_minute / 60
    assert sim.add_core(FIXTURE_MCU, toolchain.fixture_image(), hz, drift) == FIXTURE
    hz = 16e6 * (1 + _ppm(None, conditions.nominal, chance, 100) / 1e6)
    assert sim.add_core(BOARD_MCU, toolchain.board_image(conditions.defect), hz) == BOARD
    fixture = _Fixture(circuit, chance, _terminals(parameters, wiring))
    fixture.mains(parameters)
    fixture.relays()
    _board(circuit, parameters, chance)
    fixture.inputs()
    fixture.sensors()
    fixture.bus(parameters)
    sim.link_to(FIXTURE, BYTE_NS)
    return circuit


def start(circuit: Circuit, parameters: Parameters) -> None:
    """Give the board its parameters, the source its voltage and the fixture its power."""
    from firmware_ref.board.image import image

    circuit.simulator.store(BOARD, image(parameters))
    circuit.simulator.mains_on(True)
    circuit.simulator.core_set_power(FIXTURE, True, BY_POWER)


def _ppm(stated: float | None, nominal: bool, chance: random.Random, most: float) -> float:
    drawn = chance.uniform(-most, most)
    return stated if stated is not None else 0.0 if nominal else drawn


def _terminals(parameters: Parameters, wiring: Mapping[str, int] | None) -> dict[int, str]:
    """Channel number -> the board's terminal on it."""
    numbers = {row["number"]: row["name"] for row in rows(toolchain.ROOT / "hardware" / "channels.csv")}
    own = {int(number): name for number, name in numbers.items()}
    wired = dict(wiring or {})
    # A channel whose name is wired to another one is on nothing.
    own = {n: name if wired.get(name, n) == n else f"unused {n}" for n, name in own.items()}
    return own | {number: name for name, number in wired.items()}


class _Fixture:
    """The fixture's side, from its pins.csv."""

    def __init__(self, circuit: Circuit, chance: random.Random, terminals: Mapping[int, str]) -> None:
        self._circuit, self._sim, self._chance = circuit, circuit.simulator, chance
        self._pins: dict[str, dict[str, str]] = {}
        for row in rows(toolchain.FIXTURE / "pins.csv"):
            number = int(row["channel"])
            own = not number or row["name"] == BUS  # the bus plays a sensor beside the one of that number
            self._pins.setdefault(row["name"] if own else terminals[number], {})[row["role"]] = row["pin"]

    def mains(self, parameters: Parameters) -> None:
        circuit, sim = self._circuit, self._sim
        volts = self._chance.uniform(23.0, 25.5)
        phase = self._chance.randrange(10 * MS)
        sim.mains_set(float(parameters.frequency_hz), 24.0 if circuit.conditions.nominal else volts, phase)
        threshold = self._chance.uniform(*FIXTURE_THRESHOLD_V)
        sim.level_add(
            sum(FIXTURE_THRESHOLD_V) / 2 if circuit.conditions.nominal else threshold, 10 * US, 30 * US
        )
        sim.level_add(BOARD_THRESHOLD_V, 10 * US, 30 * US)
        circuit.nodes["source"] = 0
        for name in ("feed", "board"):
            circuit.nodes[name] = sim.node_add()

    def _range(self, kind: tuple[int, ...]) -> tuple[int, ...]:
        """A relay's own times: it stays within half a millisecond of them."""
        operate_least, operate_most, release_least, release_most, *rest = kind
        own = []
        for least, most in ((operate_least, operate_most), (release_least, release_most)):
            middle = (
                (least + most) // 2 if self._circuit.conditions.nominal else self._chance.randint(least, most)
            )
            spread = 0 if self._circuit.conditions.nominal else min(500 * US, (most - least) // 2)
            own += [max(least, middle - spread), min(most, middle + spread)]
        return (*own, *rest)

    def _relay(
        self, name: str, pin: str, kind: tuple[int, ...], second_net: int | None, rests_closed: bool = False
    ) -> None:
        """A relay with a second pole, which may be the one that is closed at rest; the pin's pull-down holds it off while nobody drives it."""
        circuit, sim = self._circuit, self._sim
        shifted = pin.startswith("SR")
        coil = sim.add_net(*(() if shifted else ((FIXTURE, pin),)), pull=0, watched=True)
        circuit.nets[f"{name}/drive"] = coil
        if shifted:
            sim.shift_drives(int(pin[2]), coil)
        *times, skew = self._range(kind)
        sim.relay_add(coil, *times)
        circuit.poles[name] = sim.pole_add(False, 0)
        second = f"{name}/{'rest' if rests_closed else 'second'}"
        circuit.poles[second] = sim.pole_add(rests_closed, skew)
        if second_net is not None:
            sim.contact_add(circuit.poles[second], second_net)

    def relays(self) -> None:
        circuit, sim = self._circuit, self._sim
        for name, pins in self._pins.items():
            if "position" in pins and "drive" in pins:
                net = sim.add_net((FIXTURE, pins["position"]), pull=1)
                circuit.nets[f"{name}/position"] = net
                self._relay(name, pins["drive"], SWITCH if name == "main" else RELAY, net)

    def inputs(self) -> None:
        """Every sensed terminal: AC through an opto, contacts in their wetting loop, the light's pick-up."""
        circuit, sim = self._circuit, self._sim
        at = {"sense.main": "source", "sense.board": "board", "sense.r-out": "board"}
        for name, pins in self._pins.items():
            for role in ("sense", "voltage"):
                if role not in pins:
                    continue
                net = circuit.nets[f"{name}/{role}"] = sim.add_net((FIXTURE, pins[role]), pull=1)
                if name in ("alarm.no", "alarm.nc"):
                    if f"board:{name}" in circuit.poles:
                        sim.contact_add(circuit.poles[f"board:{name}"], net)
                elif name == "light" and "light" not in circuit.nodes:
                    sim.couple_add(circuit.nets["board:light/lamp"], net, 200 * US)
                else:
                    node = circuit.nodes.get(at.get(name, name))
                    if node is not None:
                        sim.opto_add(node, net, 0)
            if "rms" in pins:
                sim.channel_reads(FIXTURE, int(pins["rms"][3:]), READS_RMS, circuit.nodes[at[name]])

    def bus(self, parameters: Parameters) -> None:
        """The relay that joins the Modbus sensor to the board, and the UARTs at both ends."""
        circuit, sim = self._circuit, self._sim
        name, pins = BUS, self._pins[BUS]
        net = circuit.nets[f"{name}/position"] = sim.add_net((FIXTURE, pins["position"]), pull=1)
        self._relay(name, pins["connect"], RELAY, net, rests_closed=True)
        sim.add_net((FIXTURE, pins["receive"]), pull=1)
        ours = sim.add_net((FIXTURE, pins["direction"]), pull=0)
        for modbus in parameters.buses.values():
            board = circuit.nets["board:bus/direction"]
            sim.bus_join(modbus.baud, circuit.poles[name])
            sim.bus_end_add(FIXTURE, FIXTURE_UART, ours)
            sim.bus_end_add(BOARD, BOARD_UART, board)

    def sensors(self) -> None:
        circuit, sim = self._circuit, self._sim
        register = self._pins["shift"]
        latch = sim.add_net((FIXTURE, register["latch"]), pull=0)
        sim.shift_at(latch, sim.add_net((FIXTURE, register["off"]), pull=1))
        nominal = circuit.conditions.nominal
        for name in sorted(n for n in self._pins if n.startswith("sensor.")):
            pins = self._pins[name]
            for role in ("connect", "short", "normal", "leak"):
                self._relay(f"{name}/{role}", pins[role], RELAY, None)
            a, shift, ocr, icr, pin = PWM[pins["pwm"]]
            poles = [circuit.poles[f"{name}/{role}"] for role in ("connect", "short", "normal", "leak")]
            sensor = sim.sensor_add(a, shift, ocr, icr, pin[1].encode(), int(pin[2]), *poles)
            circuit.sensors[name] = sensor
            offsets = [0.0 if nominal else self._chance.uniform(-0.001, 0.001) for _ in range(2)]
            sim.sensor_values(
                sensor, FILTER_TAU_S, SERIES_OHM, NORMAL_OHM, LEAK_OHM, LOAD_OHM, LOAD_V, *offsets
            )
            sim.channel_reads(FIXTURE, int(pins["relays"][3:]), READS_LADDER, sensor)
        for name, net in circuit.nets.items():
            # A trouble contact at the board is the short of its own sensor terminal at the fixture.
            of = name.removeprefix("board:trouble.").removesuffix("/contact")
            if name.startswith("board:trouble.") and f"sensor.{of}-trouble/short" in circuit.poles:
                sim.contact_add(circuit.poles[f"sensor.{of}-trouble/short"], net)
        for name, pin in _board_inputs():
            if name in circuit.sensors:
                bias = circuit.nets[f"board:{name}/bias"]
                board_offset = 0.0 if nominal else self._chance.uniform(-0.002, 0.002)
                sim.sensor_bias(circuit.sensors[name], bias, BIAS_OHM, board_offset)
                sim.channel_reads(BOARD, int(pin[3:]), READS_TERMINAL, circuit.sensors[name])
        select = sim.add_net((FIXTURE, self._pins["converter"]["select"]), pull=1)
        sim.converter_at(select, 0.0005)


def _board_inputs() -> list[tuple[str, str]]:
    """The board's analog inputs: the sensor, and the converter's channel."""
    return [
        (row["name"], row["pin"]) for row in rows(toolchain.BOARD / "pins.csv") if row["role"] == "signal"
    ]


def _names_at_the_board(parameters: Parameters) -> dict[str, str]:
    """Name in the board's pins.csv -> what the profile calls it, where that is something else."""
    from firmware_ref.board.image import call_terminals, terminals

    outputs = {f"out.{place}": f"out.{name}" for name, place in terminals(parameters).items()}
    calls = {f"call.{place}": f"call.{name}" for name, place in call_terminals(parameters).items()}
    return outputs | calls


def _board(circuit: Circuit, parameters: Parameters, chance: random.Random) -> None:
    """The board's side, from its pins.csv, and the wires between."""
    sim, nodes, nets, poles = circuit.simulator, circuit.nodes, circuit.nets, circuit.poles
    nominal = circuit.conditions.nominal
    sim.branch_add(nodes["source"], nodes["feed"], poles["main"])
    sim.branch_add(nodes["feed"], nodes["board"], poles["board"])
    calls_from = nodes["feed"] if parameters.calls_fed_from == "bench" else nodes["board"]
    for name in [p for p in poles if p.startswith("call.") and "/" not in p]:
        nodes[name] = sim.node_add()
        sim.branch_add(calls_from, nodes[name], poles[name])
    outputs = {o.name: o for o in parameters.outputs}
    called = _names_at_the_board(parameters)
    for row in rows(toolchain.BOARD / "pins.csv"):
        name, role, pin = called.get(row["name"], row["name"]), row["role"], row["pin"]
        if role == "signal":
            continue
        if role == "relay" and name.startswith("alarm."):
            coil = nets[f"board:{name}/relay"] = sim.add_net((BOARD, pin), pull=0)
            sim.relay_add(coil, *_times(nominal, chance))
            sim.relay_on_rail()
            poles[f"board:{name}"] = sim.pole_add(name == "alarm.nc", 0)
            continue
        pull = 0 if role in ("relay", "lamp", "bias", "direction") else 1
        net = nets[f"board:{name}/{role}"] = sim.add_net((BOARD, pin), pull=pull)
        if role == "relay":
            sim.relay_add(net, *_times(nominal, chance))
            sim.relay_on_rail()
            poles[f"board:{name}"] = sim.pole_add(False, 0)
            output = outputs.get(name.removeprefix("out."))
            nodes[name] = sim.node_add()
            if output is not None:
                feed = nodes["board"] if output.feed == "supply" else nodes[f"call.{output.call}"]
                sim.branch_add(feed, nodes[name], poles[f"board:{name}"])
        elif role == "pulses":
            node = nodes.get("board" if name == "supply" else name)
            if node is not None:
                sim.opto_add(node, net, 1)
        elif name == "button":
            sim.contact_add(poles["button"], net)
        elif role == "lamp" and parameters.light is not None and parameters.light.seen == "lamp":
            sim.relay_add(net, *SWITCH[:-1])  # an opto-triac in the lamp's line
            poles["board:light"], nodes["light"] = sim.pole_add(False, 0), sim.node_add()
            sim.branch_add(nodes["board"], nodes["light"], poles["board:light"])
    hold_up_ns = chance.randint(*HOLD_UP_NS)
    sim.supply_from(BOARD, nodes["board"], HOLD_UP_NS[0] if nominal else hold_up_ns, RISE_NS, RAIL_NS)


def _times(nominal: bool, chance: random.Random) -> tuple[int, ...]:
    operate_least, operate_most, release_least, release_most, bounce, count, _ = BOARD_RELAY
    if nominal:
        return (7 * MS, 7 * MS, 7 * MS, 7 * MS, 0, 0)
    return (operate_least, operate_most, release_least, release_most, bounce, count)
