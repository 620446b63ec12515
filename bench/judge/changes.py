"""From the edges of one output to its changes.

The moment of a change is its first edge; edges within the glitch time after
it belong to it.  A group that ends at the level it began with is a lone pulse:
counted, not judged, unless there are more than three within a second.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from bench.judge.events import Change, Flicker
from bench.judge.window import Stamp

CHATTER_PULSES = 3
CHATTER_WITHIN_US = 1_000_000


@dataclass(slots=True)
class Debounce:
    """Edges of one output in, changes out; `pulses` are the lone pulses so far.

    `bursts` holds the first pulse of every burst of chatter and how many pulses it had.
    """

    output: str
    glitch_us: int
    level: bool
    pulses: list[Stamp] = field(default_factory=list)
    bursts: list[tuple[Stamp, int]] = field(default_factory=list)
    _first: Stamp | None = None
    _last_level: bool = False
    _burst_last_us: int = -1

    def edge(self, on: bool, stamp: Stamp) -> list[Change | Flicker]:
        done = self.settle(stamp.mid_us)
        if self._first is None:
            if on != self.level:
                self._first, self._last_level = stamp, on
        else:
            self._last_level = on
        return done

    def settle(self, now_us: int) -> list[Change | Flicker]:
        """Close the group if the glitch time after its first edge has passed."""
        first = self._first
        if first is None or now_us <= first.mid_us + self.glitch_us:
            return []
        self._first = None
        if self._last_level != self.level:
            self.level = self._last_level
            return [Change(self.output, self.level, first)]
        self._lone_pulse(first)
        return [Flicker(self.output, not self.level, first, first.latest_us + self.glitch_us)]

    def _lone_pulse(self, pulse: Stamp) -> None:
        self.pulses.append(pulse)
        recent = self.pulses[-CHATTER_PULSES - 1 :]
        if len(recent) <= CHATTER_PULSES or pulse.mid_us - recent[0].mid_us > CHATTER_WITHIN_US:
            return
        if self.bursts and recent[-2].mid_us - self._burst_last_us <= 0:
            first, count = self.bursts[-1]
            self.bursts[-1] = (first, count + 1)
        else:
            self.bursts.append((recent[0], len(recent)))
        self._burst_last_us = pulse.mid_us
