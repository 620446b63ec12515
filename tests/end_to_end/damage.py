"""A short run, judged, with one byte damaged on its way."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable

from bench.judge.judge import judge_trace
from bench.link.base import Port
from bench.link.damaged import HOW, Damage, DamagedPort
from bench.procedure import load as load_procedure
from bench.profile import Profile
from bench.profile import load as load_profile
from bench.run.observer import Silent
from bench.run.session import run_session
from bench.trace.records import Header, Record, Trace
from tests.fixture.stand import Stand

STEPS = """\
format: mitbench-procedure-1
name: short
steps:
  - sensor.1: clear
  - {board: closed, main: closed}
  - wait: {timer: warm_up, past: max}
  - call.Y: on
  - wait: {timer: follow, past: max}
  - call.Y: off
  - wait: {timer: follow, past: max}
  - call.Y: on
  - wait: {timer: follow, past: max}
  - sensor.1: leak
  - until: {out.Y: off, at_most: 8 s}
"""
#: A good board, one that trips late, and one that never trips: the verdict may change on none.
BOARDS: tuple[tuple[str, ...], ...] = ((), ("slow-trip=1 s",), ("stuck-on:Y",))


def short_profile() -> Profile:
    """The furnace board, of which so short a run must prove only what it can."""
    profile = load_profile("invented-split-furnace")
    parameters = dataclasses.replace(profile.parameters, must_prove=("follow:Y", "trip:Y"))
    return dataclasses.replace(profile, parameters=parameters)


class ShortRun:
    """Runs one board again and again, each time with another byte damaged."""

    def __init__(self, folder: str, faults: tuple[str, ...] = ()) -> None:
        path = f"{folder}/short.yaml"
        with open(path, "w", encoding="utf-8") as f:
            f.write(STEPS)
        self.profile = short_profile()
        self.procedure = load_procedure(path, self.profile.parameters)
        self.faults = faults

    def verdict(self, damage: Damage | None) -> tuple[str, list[int]]:
        """The verdict, and how many bytes went each way."""
        ports: list[DamagedPort] = []

        def wrap(port: Port) -> Port:
            ports.append(DamagedPort(port, damage))
            return ports[0]

        stand = Stand(self.profile.parameters, seed=5, faults=self.faults, wrap=wrap)
        records: list[Record] = []
        run_session(
            stand.bench, self.procedure, self.profile, sink=records.append, observer=Silent(), stop=_never
        )  # fmt: skip
        stand.bench.close()
        assert stand.peer is not None and not stand.peer.hardware.energised
        header = Header(self.profile.data, self.profile.sha256, self.profile.wiring)
        judgement = judge_trace(Trace(header, tuple(records)), self.profile.parameters, live=True)
        return judgement.verdict, ports[0].counted


_never: Callable[[], bool] = bool


def damages(counted: list[int], every: int, first: int = 0) -> list[Damage]:
    """Each kind of damage at every so many positions, both directions; the bit changes from place to place."""
    return [
        Damage(sent, position, how, bit=(position // every + n) % 8)
        for sent in (True, False)
        for position in range(first, counted[0 if sent else 1], every)
        for n, how in enumerate(HOW)
    ]
