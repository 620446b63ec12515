"""24 VAC and how it is sensed: half cycles, blind gaps, what an edge can be known to.

Full-wave sensing with a threshold in instantaneous volts: a terminal shows a
pulse in each half cycle, and nothing in the blind gap around each zero
crossing, asin(threshold/peak)/(pi*f) long.  Worked out at changes only.
"""

from __future__ import annotations

import math
from typing import NamedTuple

THRESHOLD_V = 15.0
#: The fixture looks at its inputs this often.
LOOK_US = 250
#: Contacts settle within this of their first edge; 1 to 5 ms are usual, boards of this trade keep below 4.
BOUNCE_US = 4_000
#: *Off* is known this long after the last pulse: a half cycle and some.
_ABSENT_SPARE_US = 1_000


class Mains:
    """One phase.  `phase_us`: when a zero crossing is."""

    def __init__(self, frequency_hz: int, volts_rms: float, phase_us: float = 0.0) -> None:
        self.volts_rms = volts_rms
        self.half_us = 1e6 / (2 * frequency_hz)
        #: From a zero crossing to the threshold.
        self._blind_us = (
            math.asin(THRESHOLD_V / (volts_rms * math.sqrt(2))) / (2 * math.pi * frequency_hz) * 1e6
        )
        self._phase_us = phase_us

    @property
    def gap_us(self) -> float:
        """The blind gap: between the end of a pulse and the start of the next."""
        return 2 * self._blind_us

    @property
    def absent_us(self) -> float:
        """Without a pulse for this long there is no voltage."""
        return self.half_us + _ABSENT_SPARE_US

    def conducts(self, at_us: float) -> bool:
        """Whether a terminal with voltage shows a pulse at this instant."""
        return self._blind_us <= (at_us - self._phase_us) % self.half_us <= self.half_us - self._blind_us

    def start_us(self, at_us: float) -> float:
        """Start of the pulse that is on at this instant, else of the next one."""
        into = (at_us - self._phase_us) % self.half_us
        if into > self.half_us - self._blind_us:
            into -= self.half_us
        return at_us - into + self._blind_us

    def end_us(self, at_us: float) -> float:
        """End of the last pulse before this instant, which lies in a gap."""
        into = (at_us - self._phase_us) % self.half_us
        if into < self._blind_us:
            into += self.half_us
        return at_us - into + self.half_us - self._blind_us


class Direct:
    """24 V DC in the transformer's place: the inputs conduct all the time, and there is no gap.

    The fixture does not know it, and waits for *off* as it does on AC.
    """

    gap_us = 0.0

    def __init__(self, frequency_hz: int, volts: float) -> None:
        self.volts_rms = volts
        self.absent_us = 1e6 / (2 * frequency_hz) + _ABSENT_SPARE_US

    def conducts(self, at_us: float) -> bool:
        return True

    def start_us(self, at_us: float) -> float:
        return -math.inf

    def end_us(self, at_us: float) -> float:
        return at_us


class Seen(NamedTuple):
    """An edge as the fixture saw it: the first edge of the change lies in [earliest, latest], true time."""

    on: bool
    earliest_us: float
    latest_us: float


class AcInput:
    """One sensed terminal.  Changes are put in in order of time; what is due is fired in between."""

    def __init__(self, mains: Mains | Direct, *, on: bool = False) -> None:
        self._mains = mains
        self.on = on
        self.shown = on
        self._pulse_us: float | None = -math.inf if on else None  # the first of this spell
        self._end_us = -math.inf  # of the last pulse
        self._cuts: list[float] = []  # ends of pulses that were cut short

    def put(self, on: bool, at_us: int) -> None:
        """The terminal's voltage comes or goes."""
        if on is self.on:
            return
        self.on = on
        mains = self._mains
        if on:
            self._pulse_us = at_us if mains.conducts(at_us) else mains.start_us(at_us)
            return
        first_us, self._pulse_us = self._pulse_us, None
        if first_us is None or at_us <= first_us:
            return  # came and went inside one gap
        if mains.conducts(at_us):
            self._end_us = at_us
            self._cuts = [c for c in self._cuts if c >= at_us - BOUNCE_US] + [at_us]
        else:
            self._end_us = mains.end_us(at_us)

    def due_us(self) -> int | None:
        """When the next edge will be seen, if nothing changes before."""
        absent_us = self._end_us + self._mains.absent_us
        if self._pulse_us is None:
            return math.ceil(absent_us) if self.shown else None
        if not self.shown:
            return math.ceil(self._pulse_us)
        return math.ceil(absent_us) if self._pulse_us > absent_us > 0 else None

    def fire(self, now_us: int) -> Seen | None:
        """The edge that is seen by now, if one is."""
        due = self.due_us()
        if due is None or due > now_us:
            return None
        self.shown = not self.shown
        if self.shown:
            assert self._pulse_us is not None
            earliest, latest = self._around(self._pulse_us)
            self._end_us = -math.inf
        else:
            cut = next((c for c in self._cuts if c >= self._end_us - BOUNCE_US), None)
            if cut is not None:
                earliest, latest = self._around(cut)
            else:
                earliest, latest = self._end_us, self._end_us + self._mains.gap_us
        self._cuts.clear()
        return Seen(self.shown, earliest - LOOK_US, latest)

    def _around(self, at_us: float) -> tuple[float, float]:
        """Where the first edge of a change lies that showed at `at_us`, inside a pulse.

        It may have been in the gap before, if what came after it bounced.
        """
        start_us = self._mains.start_us(at_us)
        if at_us - start_us >= BOUNCE_US:
            return at_us, at_us
        return max(start_us - self._mains.gap_us, at_us - BOUNCE_US), at_us


class ContactInput:
    """A contact in its own wetting loop: every edge is seen at the next look."""

    def __init__(self, *, on: bool) -> None:
        self.on = self.shown = on
        self._moved_us: int | None = None

    def put(self, on: bool, at_us: int) -> None:
        if on is not self.on:
            self.on = on
            self._moved_us = at_us

    def due_us(self) -> int | None:
        return self._moved_us if self.on is not self.shown else None

    def fire(self, now_us: int) -> Seen | None:
        due = self.due_us()
        if due is None or due > now_us:
            return None
        self.shown = self.on
        return Seen(self.on, due - LOOK_US, due)
