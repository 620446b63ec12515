"""The fixture image's time stamps against what truly happened.

Relays are told, contacts of the board are moved by force at instants drawn by
chance, and every stamp is held against the first edge of its own cause, on the
fixture's own clock: a tick is sixteen of its cycles, counted from the
instruction that starts its timer.
"""

from __future__ import annotations

import random
from collections import Counter
from dataclasses import dataclass, field

from bench.fixture.events import Event
from tests.cosim.host import Host
from tests.cosim.simulator import MS, NODE, POLE, US, Truth
from tests.cosim.wiring import FIXTURE, Conditions

_CYCLES_PER_TICK = 16
#: Where the timer starts is found to a microsecond; a stamp is a whole tick.
_SPARE_US = 2
_TCCR5B = 0x121
CALLS = {
    3: "call.Y",
    4: "call.W",
    5: "call.G",
    6: "call.O",
    7: "call.B",
    8: "call.Y2",
    9: "call.W2",
    10: "call.E",
}
CONTACTS = {27: "alarm.no/sense", 28: "alarm.nc/sense", 29: "light/sense"}
OUT_G = 19
#: What PROTOCOL.md states, in us.
MOST_HALF_WIDTH = {"POS": 1_000, "VOLT": 2_500, "AC": 2_500, "CONTACT": 1_000}


@dataclass
class Result:
    """`outside`: sentences about stamps that do not hold what happened.  `widest`: kind -> half-width in us."""

    checked: Counter[str] = field(default_factory=Counter)
    outside: list[str] = field(default_factory=list)
    widest: dict[str, float] = field(default_factory=dict)

    def hold(self, kind: str, event: Event, truth_us: float) -> None:
        self.checked[kind] += 1
        self.widest[kind] = max(self.widest.get(kind, 0.0), (event.latest_us - event.earliest_us) / 2)
        if not event.earliest_us - _SPARE_US <= truth_us <= event.latest_us + _SPARE_US:
            self.outside.append(
                f"{kind} of channel {event.number} to {event.value}: [{event.earliest_us}, {event.latest_us}],"
                f" truly {truth_us:.1f}"
            )


class Stamps:
    """One fixture with its clock error and drift, and a course drawn from the seed."""

    def __init__(self, conditions: Conditions) -> None:
        self.host = Host(conditions, boot_ns=0)
        sim = self.sim = self.host.sim
        while not sim.core_register(FIXTURE, _TCCR5B):
            sim.run_for(1 * US)
        self._zero = sim.core_cycles(FIXTURE)
        sim.run_for(500 * MS)
        self._chance = random.Random(f"{conditions.seed}/stamps")
        self.result = Result()
        poles, nodes = self.host.circuit.poles, self.host.circuit.nodes
        self._causes = {(POLE, poles[f"{name}/second"]): ("POS", n) for n, name in CALLS.items()}
        self._causes |= {(NODE, nodes[name]): ("VOLT", n) for n, name in CALLS.items()}
        self._causes[NODE, nodes["out.G"]] = ("EDGE", OUT_G)
        self._out_g = poles["board:out.G"]
        self._closed = dict.fromkeys(CALLS, False)
        self._levels = dict.fromkeys(CONTACTS, 1)
        self._g = 0

    def tick_us(self, cycle: int) -> float:
        return (cycle - self._zero) / _CYCLES_PER_TICK

    def course(self, rounds: int) -> Result:
        """Rounds of a tenth of a second, six or seven stamps each."""
        host, sim = self.host, self.sim
        host.tell("ROUT:CLOS (@1,2)")
        sim.pole_force(self._out_g, 0)
        for channel, name in CONTACTS.items():
            sim.net_force(host.circuit.nets[name], self._levels[channel])
        sim.run_for(300 * MS)
        host.all_events()
        sim.log()
        for _ in range(rounds):
            self._round()
        return self.result

    def _round(self) -> None:
        host, sim, chance = self.host, self.sim, self._chance
        call = chance.choice(list(CALLS))
        self._closed[call] = not self._closed[call]
        sim.send(f"ROUT:{'CLOS' if self._closed[call] else 'OPEN'} (@{call})\n".encode())
        truths: dict[tuple[str, int], float] = {}
        began = sim.now
        moments = sorted(
            (chance.randrange(60_000) * US + chance.randrange(US), n) for n in (*CONTACTS, OUT_G)
        )
        for after, channel in moments:
            sim.run_for(began + after - sim.now)
            if channel == OUT_G:
                self._g ^= 1
                sim.pole_force(self._out_g, self._g)
            else:
                self._levels[channel] ^= 1
                truths["EDGE", channel] = self.tick_us(sim.core_cycles(FIXTURE))
                sim.net_force(host.circuit.nets[CONTACTS[channel]], self._levels[channel])
        sim.run_for(began + 160 * MS - sim.now)
        for happened in sim.log():
            self._first(truths, happened)
        self._compare(truths, host.all_events())

    def _first(self, truths: dict[tuple[str, int], float], happened: Truth) -> None:
        cause = self._causes.get((happened.what, happened.id))
        if cause is not None:
            truths.setdefault(cause, self.tick_us(happened.cycle))

    def _compare(self, truths: dict[tuple[str, int], float], events: list[Event]) -> None:
        for event in events:
            if event.kind == "APPL":
                continue
            truth = truths.pop((event.kind, event.number), None)
            kind = event.kind if event.kind != "EDGE" else "AC" if event.number == OUT_G else "CONTACT"
            if truth is None:
                self.result.outside.append(f"{event}: nothing happened, or it is there twice")
            else:
                self.result.hold(kind, event, truth)
        self.result.outside += [f"no event of {cause}, truly {at:.1f}" for cause, at in truths.items()]
