"""Faults of the fixture itself, by channel number."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from bench.errors import UsageError
from bench.fixture.channels import ChannelTable
from bench.simulated.faults import Fault


@dataclass(frozen=True, slots=True)
class FixtureFlaws:
    """What is wrong with the fixture; empty sets and False: nothing."""

    dead_relays: frozenset[int] = frozenset()
    stuck_relays: frozenset[int] = frozenset()
    dead_inputs: frozenset[int] = frozenset()
    stuck_inputs: frozenset[int] = frozenset()
    swapped_inputs: Mapping[int, int] = field(default_factory=dict)
    busy_buses: frozenset[int] = frozenset()
    signal_drift: bool = False
    reboots: bool = False
    unplugged: bool = False
    main_shorted: bool = False

    @classmethod
    def of(cls, faults: Sequence[Fault], wiring: Mapping[str, int], table: ChannelTable) -> FixtureFlaws:
        """From the faults of kind `fixture`; raises UsageError for a channel that there is not, or of the wrong kind."""

        def numbers(name: str, moved: bool) -> frozenset[int]:
            return frozenset(_number(f.where[0], f, wiring, table, moved) for f in faults if f.name == name)

        swapped: dict[int, int] = {}
        for fault in faults:
            if fault.name == "inputs-swapped":
                one, other = (_number(where, fault, wiring, table, False) for where in fault.where)
                swapped.update({one: other, other: one})

        names = {f.name for f in faults}
        return cls(
            numbers("relay-dead", True),
            numbers("relay-stuck", True),
            numbers("input-dead", False),
            numbers("input-stuck", False),
            swapped,
            frozenset(c.number for c in table.by_number.values() if c.kind == "bus" and "bus-busy" in names),
            "signal-drift" in names,
            "fixture-reboots" in names,
            "unplugged" in names,
            "main-shorted" in names,
        )


def _number(where: str, fault: Fault, wiring: Mapping[str, int], table: ChannelTable, moved: bool) -> int:
    number = int(where) if where.isdigit() else wiring.get(where, table.wiring.get(where, 0))
    channel = table.by_number.get(number)
    if channel is None or channel.moved is not moved or channel.kind in ("sensor", "bus"):
        kind = "relay" if moved else "input"
        raise UsageError(
            f"fault '{fault.name}': the fixture has no {kind} {where}; see hardware/channels.csv"
        )
    return number
