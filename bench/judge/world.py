"""What is known of the stimuli at one moment: the same for every possibility."""

from __future__ import annotations

from dataclasses import dataclass

from bench.judge.conditions import Conditions
from bench.judge.gestures import Gestures
from bench.judge.orders import Call
from bench.judge.window import Stamp
from firmware_ref.parameters import Parameters


@dataclass(slots=True)
class World:
    """What is known of the stimuli at the present moment: the same for every possibility."""

    parameters: Parameters
    rate_ppm: int
    conditions: Conditions
    calls: dict[str, Call]
    gestures: Gestures
    cut: Stamp | None = None

    def fork(self) -> World:
        calls = {name: Call(c.on, c.stamp, c.before) for name, c in self.calls.items()}
        return World(
            self.parameters, self.rate_ppm, self.conditions.fork(), calls, self.gestures.fork(), self.cut
        )
