"""Which channel of the fixture is which terminal of the board.

The channel table (`hardware/channels.csv`: number, kind, name, terminal,
limits, bound) is the single source.  A name that the profile does not wire is
on the channel of the same name.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from bench.data import channels_csv
from bench.profile.quantities import parse_voltage


@dataclass(frozen=True, slots=True)
class Channel:
    """One row of the table, as far as a profile needs it."""

    number: int
    kind: str
    name: str
    limits: str = ""

    @property
    def highest_uv(self) -> int | None:
        """The highest signal in uV that a sensor channel gives; None where the table does not say."""
        found = re.match(r"0 to ([0-9.]+ V)", self.limits)
        return parse_voltage(found[1]) if found else None


def channel_table(path: Path | None = None) -> tuple[Channel, ...]:
    """The fixture's channels; empty where there is no table."""
    path = path or channels_csv()
    if not path.is_file():
        return ()
    with path.open(encoding="utf-8", newline="") as file:
        return tuple(
            Channel(int(row["number"]), row["kind"].strip(), row["name"].strip(), row.get("limits") or "")
            for row in csv.DictReader(line for line in file if not line.startswith("#"))
        )


#: Beginning of a wired name → the kind of channel that it must be.
KINDS: Mapping[str, str] = {
    "light": "light",
    "call": "call",
    "out": "output",
    "sensor": "sensor",
    "alarm": "contact",
    "sense": "sense",
    "main": "switch",
    "board": "switch",
    "button": "button",
}


#: The fixture has one bus; a Modbus sensor is on it.
BUS = "bus"


def own_channels(names: Sequence[str], buses: Collection[str], table: Sequence[Channel]) -> dict[str, int]:
    """The channel of each name where the profile writes none: that of the same name, of a Modbus sensor the bus."""
    by_name = {channel.name: channel.number for channel in table}
    found = {name: by_name.get(BUS if name in buses else name) for name in names}
    return {name: number for name, number in found.items() if number is not None}


def needed_names(
    calls: Sequence[str],
    outputs: Sequence[str],
    sensors: Sequence[str],
    calls_fed_from: str | None,
    button: bool = False,
    light: bool = False,
) -> list[str]:
    """The channels that a board with these terminals needs, in the order of the table."""
    names = [f"call.{c}" for c in calls]
    names += [channel_name(o) for o in outputs]
    names += [f"sensor.{s}" for s in sensors]
    names += ["light"] if light else []
    names += ["main", "board", *(["button"] if button else []), "sense.main", "sense.board"]
    return names + (["sense.r-out"] if calls_fed_from == "board" else [])


def kind_of(name: str, seen: str | None = None, buses: Collection[str] = ()) -> str:
    """The kind of channel that a wired name must be; `seen`: how the light is; `buses`: names of Modbus sensors."""
    if name in buses:
        return BUS
    if name == "light" and seen == "lamp":
        return "output"
    return KINDS[name.partition(".")[0]]


def channel_name(output: str) -> str:
    """`Y` → `out.Y`; an alarm contact is called the same everywhere."""
    return output if output.startswith("alarm.") else f"out.{output}"


def wire(
    names: Sequence[str], written: Mapping[str, int], table: Sequence[Channel], buses: Collection[str] = ()
) -> dict[str, int]:
    """Name → channel number, as written, else its own; names without a channel are left out."""
    own = own_channels(names, buses, table)
    found = {name: written.get(name, own.get(name)) for name in [*names, *written]}
    return {name: number for name, number in found.items() if number is not None}
