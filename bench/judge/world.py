"""What is known of the stimuli at one moment: the same for every possibility."""

from __future__ import annotations

from dataclasses import dataclass, field

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
    #: No output takes longer to come on.
    slowest_on_us: int = field(init=False)

    def __post_init__(self) -> None:
        self.slowest_on_us = max(o.react_on.max_us for o in self.parameters.outputs)

    def fork(self) -> World:
        calls = {name: Call(c.on, c.stamp, c.before) for name, c in self.calls.items()}
        return World(
            self.parameters, self.rate_ppm, self.conditions.fork(), calls, self.gestures.fork(), self.cut
        )
