"""The firmware's board on a bench without a fixture: stimuli in seconds, moves with the bounce taken off."""

from __future__ import annotations

from bench.procedure.levels import moves
from bench.trace.records import Value, Voltage
from firmware_ref.parameters import Modbus, Mode, Parameters, Sensor
from tests.firmware_ref.board.core import CoreBoard
from tests.modbus.frames import SILENCE_US, framed

S = 1_000_000
#: Edges closer than this belong to one move of a contact.
_BOUNCE_US = 5_000
#: A Modbus sensor answers this late at the most.
_BUS_STEP_US = 20_000


class Bus:
    """A Modbus sensor that answers whatever it is asked with its two registers."""

    def __init__(self, sensor: Sensor) -> None:
        self.sensor = sensor
        self.state: Value = "open"
        self._asked: bytes | None = None
        self._over_us = -S

    def ask(self, name: str, question: bytes, at_us: int) -> None:
        """A question so soon after an answer is not heard."""
        if at_us - self._over_us >= SILENCE_US[self._modbus.baud]:
            self._asked = question

    @property
    def _modbus(self) -> Modbus:
        assert self.sensor.modbus is not None
        return self.sensor.modbus

    def answer(self, board: CoreBoard, at_us: int) -> None:
        """What was asked since the last call is answered now."""
        asked, self._asked = self._asked, None
        if asked is None or self.state in ("open", "silent"):
            return
        modbus, word = self._modbus, str(self.state)
        count = self.state.value_uv if isinstance(self.state, Voltage) else 0
        held = {modbus.concentration: count, modbus.status: modbus.status_of(word)}
        first, many = int.from_bytes(asked[2:4], "big"), int.from_bytes(asked[4:6], "big")
        data = b"".join(held.get(n, 0).to_bytes(2, "big") for n in range(first, first + many))
        frame = framed(asked[0], asked[1], len(data), *data)
        if word == "exception":
            frame = framed(asked[0], asked[1] | 0x80, 4)
        elif word == "bad-crc":
            frame = frame[:-1] + bytes((frame[-1] ^ 0xFF,))
        board.heard(self.sensor.name, frame, at_us)
        self._over_us = at_us


class Rig:
    """`t` is the present, in seconds since the board was made; main and calls are cut together."""

    def __init__(
        self, parameters: Parameters, *, seed: int = 0, defect: str = "", board: CoreBoard | None = None
    ) -> None:
        self.parameters = parameters
        self.board = board or CoreBoard(parameters, seed=seed, defect=defect)
        self.calls: set[str] = set()
        self.supplied = False
        self._us = 0
        self._bus = next((Bus(s) for s in parameters.sensors if s.modbus is not None), None)
        if self._bus is not None:
            self.board.connect(self._bus.ask)
        self._raw: list[tuple[int, str, bool]] = []

    @property
    def t(self) -> float:
        return self._us / S

    @property
    def mode(self) -> Mode:
        return self.board.mode

    # -- stimuli --

    def gas(self, word: str, sensor: int = 0) -> Rig:
        """`sensor`: its place in the profile; `trouble` where it has a contact for it."""
        for channel, value in moves(self.parameters.sensors[sensor], word):
            if self._bus is not None and channel == f"sensor.{self._bus.sensor.name}":
                self._bus.state = value
                continue
            signal = value.value_uv if isinstance(value, Voltage) else value
            self.board.sensor(channel.removeprefix("sensor."), signal, self._us)
        return self

    def on(self, *calls: str) -> Rig:
        self.calls |= set(calls)
        return self._feed()

    def off(self, *calls: str) -> Rig:
        self.calls -= set(calls)
        return self._feed()

    def main(self, closed: bool) -> Rig:
        self.supplied = closed
        self.board.supply(closed, self._us)
        return self._feed()

    def _feed(self) -> Rig:
        for call in self.parameters.calls:
            self.board.call(call, self.supplied and call in self.calls, self._us)
        return self

    def wait(self, seconds: float) -> Rig:
        end_us = self._us + round(seconds * S)
        while self._us < end_us:
            self._us = end_us if self._bus is None else min(end_us, self._us + _BUS_STEP_US)
            self._raw += [(c.at_us, c.name, c.on) for c in self.board.advance(self._us)]
            if self._bus is not None:
                self._bus.answer(self.board, self._us)
        return self

    def cut(self, seconds: float) -> Rig:
        return self.main(False).wait(seconds).main(True)

    def press(self, *spans: float) -> Rig:
        """The button: pressed for the first, open for the second and so on, in seconds; then let go."""
        for place, span in enumerate(spans):
            self.board.button(place % 2 == 0, self._us)
            self.wait(span)
        self.board.button(False, self._us)
        return self

    # -- whole stretches --

    def up(self, *calls: str) -> Rig:
        """In normal, with these calls followed."""
        self.gas("clear").wait(0.1).main(True).wait(self.parameters.timing.warm_up.max_us / S + 1)
        self.on(*calls).wait(1)
        assert self.mode is Mode.NORMAL
        return self

    def leak(self) -> Rig:
        """In leak-active."""
        self.gas("leak").wait(self.parameters.timing.trip.max_us / S)  # type: ignore[union-attr]
        assert self.mode is Mode.LEAK_ACTIVE
        return self

    def hold(self) -> Rig:
        """In the hold."""
        self.gas("clear").wait(self.parameters.timing.clear.max_us / S)  # type: ignore[union-attr]
        assert self.mode is Mode.POST_LEAK_HOLD
        return self

    def lose(self, way: str = "open") -> Rig:
        self.gas(way).wait(self.parameters.timing.loss.max_us / S)  # type: ignore[union-attr]
        return self

    # -- what was seen --

    def shows(self) -> str:
        """The terminals that are on, as in `YW`."""
        return "".join(name for name, on in self.board.terminals().items() if on)

    def moves(self, since: float = 0.0) -> list[tuple[str, bool, float]]:
        """(terminal, on, seconds after `since`), the first edge of each move."""
        found: list[tuple[str, bool, float]] = []
        for name in self.board.terminals():
            edges = [(at, on) for at, n, on in self._raw if n == name and at >= round(since * S)]
            while edges:
                group = [e for e in edges if e[0] - edges[0][0] <= _BOUNCE_US]
                edges = edges[len(group) :]
                if len(group) % 2:
                    found.append((name, group[0][1], group[0][0] / S - since))
        return sorted(found, key=lambda move: move[2])

    def flickers(self) -> list[tuple[str, bool, float]]:
        """The edges of the light, as `moves` gives those of the terminals."""
        return [(name, on, at / S) for at, name, on in self._raw if name == "light"]

    def move(self, name: str, on: bool, since: float = 0.0) -> float:
        """Seconds from `since` to the first such move."""
        return next(after for n, to, after in self.moves(since) if (n, to) == (name, on))
