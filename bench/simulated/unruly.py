"""Two faults with a rhythm of their own: relay chatter, and a restart nobody asked for."""

from __future__ import annotations

from collections.abc import Mapping

from bench.simulated.channel import Channel
from firmware_ref.parameters import Parameters

#: Pulses of one burst, and from one to the next: five within three quarters of a second.
_PULSES = 5
_PERIOD_US = 150_000
#: How long the output must have been at rest, and from one burst to the next.
_REST_US = 1_000_000
_BURST_EVERY_US = 5_000_000


class Chatter:
    """Bursts of pulses, each shorter than the glitch time, on an output at rest."""

    def __init__(self, channel: Channel, parameters: Parameters) -> None:
        self._channel = channel
        # Longer than a half cycle, so that an AC input can see it.
        self._width_us = parameters.timing.glitch_us * 6 // 10
        self._left = _PULSES
        self.due_us = _REST_US

    def disturb(self, now_us: int) -> None:
        """Something is about to move: keep still until it is at rest again."""
        self._left = _PULSES
        self.due_us = now_us + _REST_US

    def scan(self, now_us: int) -> None:
        if not self._channel.at_rest():
            self.disturb(now_us)
        if now_us < self.due_us:
            return
        self._channel.relay.pulse(now_us, self._width_us)
        self._left -= 1
        self.due_us = now_us + (_PERIOD_US if self._left else _BURST_EVERY_US)
        self._left = self._left or _PULSES


class Reboots:
    """Once in a run: a restart as after a brown-out, when two outputs have been on for a second."""

    def __init__(self, outputs: int) -> None:
        self._needed = min(2, outputs)
        self._on_since: dict[str, int] = {}
        self._done = False
        self.due_us: int | None = None

    def watch(self, shown: Mapping[str, bool], at_us: int) -> None:
        """The terminals, after each change."""
        self._on_since = {name: self._on_since.get(name, at_us) for name, on in shown.items() if on}
        longest = sorted(self._on_since.values())[: self._needed]
        ready = len(longest) == self._needed and not self._done
        self.due_us = longest[-1] + _REST_US if ready and longest else None

    def now(self, now_us: int) -> bool:
        """Whether it restarts in this scan; asked only in normal mode, without gas, with all outputs at rest."""
        if self.due_us is None or now_us < self.due_us:
            return False
        self._done, self.due_us = True, None
        return True
