"""Many edges for long: contacts toggled at a rate, fetched by the driver's own rules, and counted."""

from __future__ import annotations

from itertools import pairwise

from bench.fixture.events import Event
from tests.cosim.host import Host
from tests.cosim.simulator import S
from tests.cosim.stamps import CONTACTS


def steady(host: Host, edges_per_second: int, seconds: float) -> tuple[dict[int, int], dict[int, int], int]:
    """(edges made, edges told by channel, edges told that did not alternate).  Raises BenchFault on a gap."""
    sim = host.sim
    levels = dict.fromkeys(CONTACTS, 1)
    for channel, name in CONTACTS.items():
        sim.net_force(host.circuit.nets[name], levels[channel])
    sim.run_for(S // 2)
    host.all_events()
    made = dict.fromkeys(CONTACTS, 0)
    events: list[Event] = []
    channels = list(CONTACTS)
    began, heard, asked = sim.now, b"", False
    total = round(edges_per_second * seconds)
    done = 0
    while done < total or asked:
        if not asked:
            sim.send(b"FETC:EVEN? 0\n")
            asked, heard = True, b""
        due = began + done * S // edges_per_second if done < total else sim.now + S
        sim.run(max(due, sim.now))
        heard += sim.take()
        if done < total and sim.now >= due:
            channel = channels[done % len(channels)]
            levels[channel] ^= 1
            sim.net_force(host.circuit.nets[CONTACTS[channel]], levels[channel])
            made[channel] += 1
            done += 1
        if heard.endswith(b"\n"):
            asked = False
            events += host.stream.read(heard.decode().rstrip("\r\n"))
    events += host.all_events()
    values = {channel: [e.value for e in events if e.number == channel] for channel in CONTACTS}
    doubled = sum(a == b for one in values.values() for a, b in pairwise(one))
    return made, {channel: len(one) for channel, one in values.items()}, doubled
