"""A board on a bench without a fixture: stimuli in seconds, edges with their bounce taken off."""

from __future__ import annotations

from bench.simulated.board import Board
from bench.simulated.faults import parse
from firmware_ref.parameters import Parameters

S = 1_000_000
NORMAL_UV = 500_000
LEAK_UV = 2_000_000
BETWEEN_UV = 1_060_000


class Rig:
    """Keeps the board's terminals' history; `t` is the present in us."""

    def __init__(
        self, parameters: Parameters, *, seed: int = 0, draw: str = "inside", faults: tuple[str, ...] = ()
    ):
        self.parameters = parameters
        self.board = Board(parameters, seed=seed, draw=draw, faults=[parse(f, parameters) for f in faults])
        self.t = 0
        #: When the sensor became low, or the supply came; set by the test's own set-up.
        self.low = self.began = 0
        self.raw: list[tuple[int, str, bool]] = []
        self._start = self.board.terminals()

    # -- stimuli: they act at `t` --

    def on(self, *calls: str) -> Rig:
        for call in calls:
            self.board.call(call, True, self.t)
        return self

    def off(self, *calls: str) -> Rig:
        for call in calls:
            self.board.call(call, False, self.t)
        return self

    def gas(self, word: str | int, sensor: str = "1") -> Rig:
        kind = next(s.kind for s in self.parameters.sensors if s.name == sensor)
        volts = {"leak": LEAK_UV, "normal": NORMAL_UV, "between": BETWEEN_UV}
        self.board.sensor(sensor, volts.get(str(word), word) if kind == "analog" else word, self.t)
        return self

    def power(self, on: bool) -> Rig:
        self.board.supply(on, self.t)
        return self

    def outage(self, seconds: float) -> Rig:
        """Main switch: supply and calls together."""
        calls = [c for c, present in self.board._calls.items() if present]
        self.power(False).off(*calls).wait(seconds)
        self.power(True).on(*calls)
        return self

    def up(self, *calls: str) -> Rig:
        """Supply on with a good sensor, past warm-up, then these calls, followed."""
        for sensor in self.parameters.sensors:
            self.gas("normal", sensor.name)
        self.wait(1).power(True).wait(self.parameters.timing.warm_up.max_us / S + 1)
        return self.on(*calls).wait(1)

    def press(self, seconds: float, times: int = 1, apart: float = 0.2) -> Rig:
        """The service button, so many times so long."""
        for _ in range(times):
            self.board.button(True, self.t)
            self.wait(seconds)
            self.board.button(False, self.t)
            self.wait(apart)
        return self

    def wait(self, seconds: float) -> Rig:
        self.t += round(seconds * S)
        self.raw += [(c.at_us, c.name, c.on) for c in self.board.advance(self.t)]
        return self

    # -- what was seen --

    def shows(self, name: str) -> bool:
        return self.board.terminals()[name]

    def all(self) -> tuple[bool, ...]:
        return tuple(self.board.terminals().values())

    def edges(self, name: str, since_us: int = 0) -> list[tuple[int, bool]]:
        """First edges of real changes, and both edges of pulses that outlast a bounce (5 ms)."""
        found: list[tuple[int, bool]] = []
        history = [(at, on) for at, n, on in self.raw if n == name]
        level, i = self._start[name], 0
        while i < len(history):
            first = history[i][0]
            j = i
            while j + 1 < len(history) and history[j + 1][0] - first <= 5_000:
                j += 1
            if history[j][1] is not level:
                level = history[j][1]
                found.append((first, level))
            i = j + 1
        return [e for e in found if e[0] >= since_us]

    def first(self, name: str, since_us: int) -> tuple[float, bool]:
        """Seconds from `since_us` to the next change of the output, and what it became."""
        at, on = self.edges(name, since_us)[0]
        return (at - since_us) / S, on

    def still(self, name: str, since_us: int) -> bool:
        return not self.edges(name, since_us)
