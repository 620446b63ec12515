"""The harness by itself, with a small image as its subject (`probes/mirror.c`)."""

from __future__ import annotations

import math

import pytest

from tests.cosim import toolchain
from tests.cosim.simulator import (
    BY_BROWN_OUT,
    BY_PIN,
    BY_POWER,
    BY_WATCHDOG,
    DROP,
    FLIP,
    MS,
    NET,
    NODE,
    POLE,
    RESET,
    TO_CORE,
    TO_HOST,
    US,
    Halted,
    S,
    Simulator,
)  # fmt: skip

BYTE_NS = 95_500


class Probe:
    """One core with the mirror in it, its echo on PD2 to PA0, and the host's link."""

    def __init__(self, seed: int = 0, hz: float = 16e6, drift: float = 0.0) -> None:
        self.sim = Simulator(seed)
        self.core = self.sim.add_core("atmega2560", toolchain.probe_image("mirror", "atmega2560"), hz, drift)
        self.input = self.sim.add_net((self.core, "PD2"), pull=1)
        self.output = self.sim.add_net((self.core, "PA0"), pull=0, watched=True)
        self.sim.link_to(self.core, BYTE_NS)

    def start(self, cause: int = BY_POWER) -> bytes:
        self.sim.core_set_power(self.core, True, cause)
        self.sim.run_for(5 * MS)
        return self.sim.kept

    def ask(self, data: bytes, span: int = 5 * MS) -> bytes:
        self.sim.send(data)
        self.sim.run_for(span)
        return self.sim.kept

    def moves(self) -> list[tuple[int, int]]:
        return [(t.ns, t.value) for t in self.sim.log() if t.what == NET and t.id == self.output]


def test_bytes_go_both_ways() -> None:
    probe = Probe()
    assert probe.start()[:2] == b"!1"
    assert probe.ask(b"a") == b"b\n"


def test_the_cause_of_a_reset_is_told_and_only_power_loses_the_memory() -> None:
    probe = Probe()
    first = probe.start()
    assert first[1:2] == b"1"
    # The watchdog bites after 15 ms in which nothing answers.
    assert probe.ask(b"w", 40 * MS)[1:3] == b"8K"
    probe.sim.core_reset(probe.core, BY_PIN)
    probe.sim.run_for(5 * MS)
    assert probe.sim.kept[1:3] == b"2K"
    probe.sim.core_set_power(probe.core, False, 0)
    probe.sim.run_for(5 * MS)
    assert probe.start(BY_BROWN_OUT)[1:2] == b"4"
    assert [t.value for t in probe.sim.log() if t.what == RESET] == [
        BY_POWER, BY_WATCHDOG, BY_PIN, BY_BROWN_OUT,
    ]  # fmt: skip
    assert probe.sim.recall(probe.core, 0, 2) == b"\x03\x03"


def test_memory_is_garbage_after_power_on() -> None:
    assert len({Probe(seed).start()[2:3] for seed in range(8)}) > 4


def test_a_torn_write_ends_with_its_byte() -> None:
    probe = Probe()
    probe.sim.store(probe.core, b"\x10\x20")
    probe.sim.core_cut_at_write(probe.core, 1)
    assert probe.start() == b""
    assert not probe.sim.core_powered(probe.core)
    assert probe.sim.recall(probe.core, 0, 2) == b"\x11\x20"


def test_inputs_follow_their_net_and_a_fault_beats_all() -> None:
    probe = Probe()
    probe.start()
    assert [value for _, value in probe.moves()] == [1]
    probe.sim.net_force(probe.input, 0)
    probe.sim.run_for(3 * MS)
    assert [value for _, value in probe.moves()] == [0]
    probe.sim.net_force(probe.output, 1)
    probe.sim.net_force(probe.input, -1)
    probe.sim.run_for(3 * MS)
    probe.sim.net_force(probe.output, -1)
    assert [value for _, value in probe.moves()] == [1]


def test_levels_are_kept_over_a_reset() -> None:
    probe = Probe()
    probe.sim.net_force(probe.input, 0)
    probe.start()
    probe.sim.core_reset(probe.core, BY_PIN)
    probe.sim.run_for(500 * MS)
    assert probe.moves() == []


def test_a_released_pin_goes_where_its_pull_is() -> None:
    probe = Probe()
    probe.start()
    probe.sim.log()
    probe.sim.core_set_power(probe.core, False, 0)
    assert [value for _, value in probe.moves()] == [0]


def test_two_drivers_of_one_net_are_noticed() -> None:
    sim = Simulator()
    image = toolchain.probe_image("mirror", "atmega2560")
    cores = [sim.add_core("atmega2560", image) for _ in range(2)]
    sim.add_net((cores[0], "PD2"), pull=1)
    held_low = sim.add_net((cores[1], "PD2"), pull=0)
    joined = sim.add_net((cores[0], "PA0"), (cores[1], "PA0"), pull=0)
    for core in cores:
        sim.core_set_power(core, True, BY_POWER)
    sim.run_for(10 * MS)
    assert sim.net_level(held_low) == 0
    assert sim.net_contentions(joined) > 0
    assert sim.net_level(joined) == 0


def test_one_core_drives_another() -> None:
    sim = Simulator()
    image = toolchain.probe_image("mirror", "atmega2560")
    cores = [sim.add_core("atmega2560", image, hz) for hz in (16.05e6, 15.95e6)]
    first = sim.add_net((cores[0], "PD2"), pull=1)
    sim.add_net((cores[0], "PA0"), (cores[1], "PD2"), pull=0)
    last = sim.add_net((cores[1], "PA0"), pull=0, watched=True)
    for core in cores:
        sim.core_set_power(core, True, BY_POWER)
    sim.run_for(10 * MS)
    sim.log()
    sim.net_force(first, 0)
    began = sim.now
    sim.run_for(10 * MS)
    moves = [(t.ns - began, t.value) for t in sim.log() if t.what == NET and t.id == last]
    assert [value for _, value in moves] == [0]
    assert 0 < moves[0][0] < 2.1 * MS


@pytest.mark.parametrize("ppm", [-5_000, 0, 5_000])
def test_a_core_has_its_own_clock(ppm: int) -> None:
    probe = Probe(hz=16e6 * (1 + ppm / 1e6))
    probe.start()
    cycles, began = probe.sim.core_cycles(probe.core), probe.sim.now
    probe.sim.run_for(2 * S)
    rate = (probe.sim.core_cycles(probe.core) - cycles) / (probe.sim.now - began)
    assert rate == pytest.approx(0.016 * (1 + ppm / 1e6), rel=1e-8)


def test_a_clock_drifts() -> None:
    probe = Probe(drift=1_600.0)  # 100 ppm a second
    probe.start()
    rates = []
    for _ in range(2):
        cycles, began = probe.sim.core_cycles(probe.core), probe.sim.now
        probe.sim.run_for(1 * S)
        rates.append((probe.sim.core_cycles(probe.core) - cycles) / (probe.sim.now - began))
    assert rates[1] / rates[0] - 1 == pytest.approx(100e-6, rel=0.01)


def test_damage_on_the_way() -> None:
    probe = Probe()
    probe.start()
    heard, said = probe.sim.link_counted(TO_CORE), probe.sim.link_counted(TO_HOST)
    probe.sim.link_damage(TO_CORE, heard, 1, DROP, 0)
    probe.sim.link_damage(TO_CORE, heard + 1, 1, FLIP, 1)
    assert probe.ask(b"x") == b""
    assert probe.ask(b"e") == b"e\n"  # came as d
    probe.sim.link_damage(TO_HOST, said + 2, 1, FLIP, 0x80)
    assert probe.ask(b"b") == b"\xe3\n"


def test_a_changed_register_stops_what_it_stood_for() -> None:
    probe = Probe()
    probe.start()
    assert probe.moves() != []
    probe.sim.poke(probe.core, 0x6E, 0)  # TIMSK0: no more looks at the input
    probe.sim.net_force(probe.input, 0)
    probe.sim.run_for(10 * MS)
    assert probe.moves() == []


def test_a_core_that_sleeps_for_ever_is_told() -> None:
    probe = Probe()
    probe.start()
    with pytest.raises(Halted, match="interrupts off"):
        probe.ask(b"s")


# -- relays and 24 VAC -----------------------------------------------------------------------


class Contacts:
    """A relay with two poles, one normally closed, between the source and two nodes; no core."""

    def __init__(self, seed: int, bounces: int = 3) -> None:
        self.sim = sim = Simulator(seed)
        self.coil = sim.add_net(pull=0)
        sim.relay_add(self.coil, 4 * MS, 9 * MS, 2 * MS, 5 * MS, 3 * MS, bounces)
        self.poles = [sim.pole_add(False, 0), sim.pole_add(True, 300 * US)]
        sim.mains_set(60.0, 24.0, 1 * MS)
        self.nodes = [sim.node_add(), sim.node_add()]
        for node, pole in zip(self.nodes, self.poles, strict=True):
            sim.branch_add(0, node, pole)
        sim.mains_on(True)

    def told(self, on: bool) -> dict[int, list[tuple[int, int]]]:
        self.sim.log()
        began = self.sim.now
        self.sim.net_force(self.coil, int(on))
        self.sim.run_for(30 * MS)
        moves: dict[int, list[tuple[int, int]]] = {pole: [] for pole in self.poles}
        for t in self.sim.log():
            if t.what == POLE:
                moves[t.id].append((t.ns - began, t.value))
        return moves


def test_relays_take_their_time_and_bounce() -> None:
    bounced = 0
    for seed in range(30):
        contacts = Contacts(seed)
        for on, least, most in ((True, 4 * MS, 9 * MS), (False, 2 * MS, 5 * MS)):
            moves = contacts.told(on)
            firsts = [moves[pole][0][0] for pole in contacts.poles]
            assert least <= firsts[0] <= most
            assert abs(firsts[1] - firsts[0]) <= 300 * US
            for pole, closed in zip(contacts.poles, (on, not on), strict=True):
                assert moves[pole][-1][1] == closed
                assert len(moves[pole]) % 2 == 1
                assert moves[pole][-1][0] - moves[pole][0][0] <= 3 * MS
                bounced += len(moves[pole]) > 1
    assert bounced > 60


def test_a_coil_told_otherwise_in_between_moves_nothing() -> None:
    contacts = Contacts(1)
    contacts.sim.net_force(contacts.coil, 1)
    contacts.sim.run_for(1 * MS)
    assert contacts.told(False) == {pole: [] for pole in contacts.poles}


def test_welded_and_dead_contacts() -> None:
    contacts = Contacts(1)
    contacts.sim.pole_force(contacts.poles[0], 0)
    contacts.told(True)
    assert not contacts.sim.node_hot(contacts.nodes[0])
    contacts.sim.pole_force(contacts.poles[0], 1)
    contacts.told(False)
    assert contacts.sim.node_hot(contacts.nodes[0])


@pytest.mark.parametrize("hz", [50.0, 60.0])
@pytest.mark.parametrize("volts", [18.0, 24.0, 30.0])
def test_each_half_cycle_has_its_pulse(hz: float, volts: float) -> None:
    sim = Simulator()
    phase = 1_234_567
    sim.mains_set(hz, volts, phase)
    level = sim.level_add(15.0, 0, 0)
    seen = sim.add_net(pull=1, watched=True)
    sim.opto_add(0, seen, level)
    sim.mains_on(True)
    sim.run_for(1 * S)
    pulses = [t for t in sim.log() if t.what == NET]
    blind = math.asin(15.0 / (volts * math.sqrt(2))) / (2 * math.pi * hz) * 1e9
    half = 1e9 / (2 * hz)
    for place, pulse in enumerate(pulses):
        start = phase + (place // 2) * half
        expected = start + half - blind if place % 2 else start + blind
        assert pulse.value == place % 2
        assert pulse.ns == pytest.approx(expected, abs=3)
    assert len(pulses) == pytest.approx(4 * hz, abs=3)


def test_too_little_voltage_shows_nothing() -> None:
    sim = Simulator()
    sim.mains_set(60.0, 10.0, 0)
    seen = sim.add_net(pull=1, watched=True)
    sim.opto_add(0, seen, sim.level_add(15.0, 0, 0))
    sim.mains_on(True)
    sim.run_for(100 * MS)
    assert [t for t in sim.log() if t.what == NET] == []


def test_a_reservoir_holds_through_a_short_cut_only() -> None:
    probe = Probe()
    sim = probe.sim
    coil = sim.add_net(pull=0)
    sim.relay_add(coil, 0, 0, 0, 0, 0, 0)
    pole = sim.pole_add(False, 0)
    sim.mains_set(60.0, 24.0, 0)
    node = sim.node_add()
    sim.branch_add(0, node, pole)
    sim.supply_from(probe.core, node, 200 * MS, 10 * MS, 50 * MS)
    sim.mains_on(True)
    powered = []
    for on, span in ((1, 100), (0, 150), (1, 100), (0, 250), (1, 100)):
        sim.net_force(coil, on)
        sim.run_for(span * MS)
        powered.append(sim.core_powered(probe.core))
    assert powered == [True, True, True, False, True]
    assert [t.value for t in sim.log() if t.what == NODE and t.id == node] == [1, 0, 1, 0, 1]


def test_one_seed_is_one_course() -> None:
    def course(seed: int) -> list[tuple[int, ...]]:
        contacts = Contacts(seed)
        contacts.told(True)
        moves = contacts.told(False)
        return [move for pole in contacts.poles for move in moves[pole]]

    assert course(5) == course(5)
    assert course(5) != course(6)
