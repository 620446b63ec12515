"""The light of the board of the dry run: each code in the middle of its times, begun after the middle of the latency."""

from __future__ import annotations

from firmware_ref.parameters import DARK, STEADY, Interval, Light, Mode, flashes

#: Where nothing is stated; ours.  A pause beside a gap that is stated is so many times as long.
_FLASH_US, _LATENCY_US, _LONGER = 300_000, 500_000, 4


class Lamp:
    """`lit` after every `move`; times in us."""

    def __init__(self, light: Light) -> None:
        self._codes = light.codes
        self._on_us = _middle(light.on, _FLASH_US)
        pause_us = _middle(light.pause, 0)
        self._off_us = _middle(light.off, pause_us // _LONGER or _FLASH_US)
        self._pause_us = pause_us or self._off_us * _LONGER
        self._latency_us = _middle(light.latency, _LATENCY_US)
        self.lit = False
        self._wanted = self._code = DARK
        self._begins_us: int | None = None
        self._due_us: int | None = None
        self._left = 0

    def show(self, mode: Mode, now_us: int) -> None:
        """The board is in this mode; without supply it is dark at once."""
        code = self._codes.get(mode) or DARK
        if code != self._wanted:
            self._wanted = code
            self._begins_us = now_us + (0 if mode is Mode.UNPOWERED else self._latency_us)

    @property
    def next_us(self) -> int | None:
        """When it moves next; None: it stays as it is."""
        return min((t for t in (self._begins_us, self._due_us) if t is not None), default=None)

    def move(self, now_us: int) -> bool:
        """What is due now; whether it came on or went out by it."""
        before = self.lit
        if self._begins_us is not None and self._begins_us <= now_us:
            self._begins_us, self._code = None, self._wanted
            self._left = flashes(self._code)
            self.lit = self._code == STEADY
            self._due_us = now_us + self._pause_us if self._left else None
        elif self._due_us is not None and self._due_us <= now_us:
            self.lit = not self.lit
            self._left -= self.lit
            self._due_us = now_us + (
                self._on_us if self.lit else self._off_us if self._left else self._pause_us
            )
            if not self.lit and not self._left:
                self._left = flashes(self._code)
        return self.lit is not before


def _middle(span: Interval | None, otherwise_us: int) -> int:
    return otherwise_us if span is None else span.middle_us
