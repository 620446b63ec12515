"""Both images in their circuit, looked at from outside: what must hold whatever the host does."""

from __future__ import annotations

import os
from itertools import cycle, islice, pairwise

import pytest

from bench.errors import BenchFault
from tests.cosim import toolchain
from tests.cosim.host import Host
from tests.cosim.load import steady
from tests.cosim.simulator import BY_BROWN_OUT, BY_PIN, BY_POWER, BY_WATCHDOG, MS, NET, RESET, S
from tests.cosim.stamps import CONTACTS
from tests.cosim.wiring import FIXTURE, Conditions

SEEDS = int(os.environ.get("SEEDS", "2"))
ALL_ON = "ROUT:CLOS (@1:5,13);:SOUR:VOLT 0.6,(@30);CONT LEAK,(@31)"


def driven(host: Host) -> list[str]:
    """Drivers that went on since the log was read last."""
    drives = host.drives()
    return [drives[t.id] for t in host.sim.log() if t.what == NET and t.id in drives and t.value]


@pytest.mark.parametrize("seed", range(SEEDS))
def test_no_driver_is_on_at_any_cycle_before_the_first_command(seed: int) -> None:
    host = Host(Conditions(seed=seed), boot_ns=0)
    sim = host.sim
    sim.run_for(700 * MS)
    for cause in (BY_PIN, BY_WATCHDOG):
        sim.core_reset(FIXTURE, cause)
        sim.run_for(300 * MS)
    for off_ms in (1, 300):
        sim.core_set_power(FIXTURE, False, 0)
        sim.run_for(off_ms * MS)
        sim.core_set_power(FIXTURE, True, BY_BROWN_OUT)
        sim.run_for(300 * MS)
    assert driven(host) == []
    # The same look does see one that is told.
    host.tell("ROUT:CLOS (@3)")
    sim.run_for(20 * MS)
    assert driven(host) == ["call.Y/drive"]


def test_a_reset_opens_everything_at_once_and_nothing_comes_back() -> None:
    for cause in (BY_PIN, BY_BROWN_OUT):
        host = Host(Conditions(seed=3))
        host.tell(ALL_ON)
        host.sim.run_for(100 * MS)
        assert len(host.energised()) > 8
        if cause == BY_PIN:
            host.sim.core_reset(FIXTURE, BY_PIN)
        else:
            host.sim.core_set_power(FIXTURE, False, 0)
            host.sim.run_for(5 * MS)
            host.sim.core_set_power(FIXTURE, True, BY_BROWN_OUT)
        host.sim.log()
        host.sim.run_for(50 * MS)
        assert host.energised() == []
        host.sim.run_for(2 * S)
        assert driven(host) == []


def test_boots_are_counted_and_told() -> None:
    host = Host(Conditions(seed=4))
    boot = int(host.ask("SYST:BOOT?"))
    assert host.ask("*ESR?") == "128"
    host.sim.core_set_power(FIXTURE, False, 0)
    host.sim.core_set_power(FIXTURE, True, BY_POWER)
    host.sim.run_for(400 * MS)
    assert int(host.ask("SYST:BOOT?")) == boot + 1


@pytest.mark.parametrize("after_ms", [0, 137])
def test_a_host_that_is_gone_leaves_nothing_closed(after_ms: int) -> None:
    host = Host(Conditions(seed=5, fixture_ppm=-5_000))
    host.sim.run_for(after_ms * MS)
    host.tell(ALL_ON)
    gone = host.sim.now
    host.sim.run_for(2_500 * MS)
    assert len(host.energised()) > 8
    while host.energised():
        host.sim.run_for(1 * MS)
        assert host.sim.now - gone < 3_500 * MS
    assert "dead man" in host.ask("SYST:ERR?") + host.ask("SYST:ERR?")


def test_the_watchdog_bites_when_no_looks_are_made() -> None:
    host = Host(Conditions(seed=6))
    host.tell(ALL_ON)
    host.sim.run_for(100 * MS)
    boot = int(host.ask("SYST:BOOT?"))
    host.sim.log()
    host.sim.poke(FIXTURE, 0x73, 0)  # TIMSK5: the interrupt that makes them
    host.sim.run_for(2_400 * MS)
    assert [t.value for t in host.sim.log() if t.what == RESET] == [BY_WATCHDOG]
    assert host.energised() == []
    assert int(host.ask("SYST:BOOT?")) == boot + 1


def burst(host: Host, edges: int, apart_ns: int) -> dict[int, int]:
    """Toggles the three inputs of contacts in turn; how many edges each had."""
    nets = {channel: host.circuit.nets[name] for channel, name in CONTACTS.items()}
    level = {channel: host.sim.net_level(net) for channel, net in nets.items()}
    made = dict.fromkeys(nets, 0)
    for channel in islice(cycle(nets), edges):
        level[channel] ^= 1
        host.sim.net_force(nets[channel], level[channel])
        made[channel] += 1
        host.sim.run_for(apart_ns)
    return made


def test_no_event_of_a_burst_is_lost_or_doubled() -> None:
    host = Host(Conditions(seed=7))
    host.all_events()
    made = burst(host, 64, MS // 2)
    seen = [e for e in host.all_events() if e.kind == "EDGE"]
    assert {channel: sum(e.number == channel for e in seen) for channel in made} == made
    for channel in made:
        values = [e.value for e in seen if e.number == channel]
        assert all(a != b for a, b in pairwise(values))


def test_no_event_of_many_is_lost_or_doubled() -> None:
    made, told, doubled = steady(Host(Conditions(seed=7)), 200, 5.0 * SEEDS)
    assert sum(made.values()) == 1_000 * SEEDS
    assert (told, doubled) == (made, 0)


def test_an_overflow_says_so() -> None:
    host = Host(Conditions(seed=8))
    host.all_events()
    burst(host, 300, 1 * MS)
    with pytest.raises(BenchFault, match="lost"):
        for _ in range(20):
            host.events()


def test_ticks_past_two_to_the_32() -> None:
    host = Host(Conditions(seed=9))
    # As after 71.5 min: 2^17 wraps of its 16-bit timer at 2 MHz are 2^32 us.
    wraps = toolchain.address_of(toolchain.fixture_image(), "wraps")
    host.sim.poke(FIXTURE, wraps, (1 << 17) - 20, 4)
    host.stream.ticks.present(int(host.ask("SYST:TICK?")))
    host.sim.log()
    ticks = []
    for on in range(40):
        host.tell(f"ROUT:{'OPEN' if on % 2 else 'CLOS'} (@13)")
        host.sim.run_for(30 * MS)
        ticks += [e.latest_us for e in host.all_events() if e.kind == "POS"]
    assert len(ticks) == 40
    assert ticks == sorted(ticks)
    assert ticks[0] < 1 << 32 < ticks[-1]
    assert max(b - a for a, b in pairwise(ticks)) < 100_000
