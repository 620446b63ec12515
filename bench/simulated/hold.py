"""The post-leak hold: how long mitigation goes on after the leak has cleared."""

from __future__ import annotations

from bench.simulated.draw import Draw
from bench.simulated.flaws import Flaws
from bench.simulated.readings import Readings
from bench.simulated.traits import Spans, Traits


class Hold:
    """One board's hold timer and what may start it afresh, stop it or keep it from ending."""

    def __init__(
        self, readings: Readings, traits: Traits, spans: Spans, draw: Draw,
        *, ends_only_when_low: bool, latency_us: int, flaws: Flaws,
    ) -> None:  # fmt: skip
        self._readings = readings
        self._traits = traits
        self._spans = spans
        self._draw = draw
        self._ends_only_when_low = ends_only_when_low
        self._latency_us = latency_us
        self._flaws = flaws
        #: When it will be over; None while it does not run.
        self.end_us: int | None = None
        #: Where a flawed hold puts the outputs' edges; None for a sound one.
        self.exact_us: int | None = None
        self._left_us = 0
        self._began_us = 0
        self._disturbed_us: int | None = None

    def stop(self) -> None:
        """No hold is running any more."""
        self.end_us = self.exact_us = self._disturbed_us = None
        self._left_us = 0

    def start(self, at_us: int, earliest_us: int, latest_us: int) -> None:
        """A full hold from `at_us`, an instant that the profile lets lie in [earliest, latest]."""
        hold, flaws = self._spans.hold, self._flaws
        self._began_us = at_us
        self.exact_us = None
        if flaws.hold_short_us is not None:
            self.exact_us = earliest_us + hold.min_us - flaws.hold_short_us
        elif flaws.hold_long_us is not None:
            self.exact_us = latest_us + hold.max_us + self._spans.react_max_us + flaws.hold_long_us
        if self.exact_us is not None:
            self.end_us = max(at_us, self.exact_us - self._latency_us)
        else:
            self.end_us = at_us + self._draw.span(hold, self._spans.release_us, spare_us=self._latency_us)

    def run_on(self, from_us: int, left_us: int | None = None) -> None:
        """What was left when it stopped (or `left_us`) runs from `from_us`."""
        self._began_us = from_us
        self.end_us = from_us + (self._left_us if left_us is None else left_us)

    def pause(self, at_us: int) -> None:
        """Stop at `at_us`, or where a disturbance that still lasts began, and keep what is left."""
        stopped = at_us if self._disturbed_us is None else self._disturbed_us
        self._left_us = self.left_us(stopped)
        self.end_us = self.exact_us = self._disturbed_us = None

    def left_us(self, at_us: int) -> int:
        """How much of it is left at `at_us`, in us: where it stands still in the band, what was left as it stopped."""
        if self.end_us is None:
            return self._left_us
        disturbed = self._disturbed_us
        stands = self._rule == "pause" and disturbed is not None and not self._unseen(at_us - disturbed)
        return max(0, self.end_us - (disturbed if stands and disturbed is not None else at_us))

    def follow_band(self) -> None:
        """What a reading that was not low does to the hold, once it is low again."""
        low = self._readings.low_since_us
        if low is None:
            band = self._readings.band_since_us
            if self._disturbed_us is None and band is not None:
                self._disturbed_us = max(band, self._began_us)
            return
        began, self._disturbed_us = self._disturbed_us, None
        if began is None or self.end_us is None or self._rule == "continue" or self._unseen(low - began):
            return
        if self._rule == "pause":
            self.end_us += low - began
            self.exact_us = None if self.exact_us is None else self.exact_us + low - began
        else:
            self.start(low, low, low)

    def may_end(self, now_us: int, still_lost: bool) -> bool:
        """Whether nothing the sensors say keeps it from ending now; `still_lost`: into sensor-fault."""
        if self._flaws.no_release:
            return False
        if self._flaws.no_restart:
            return True
        low = self._readings.low_since_us is not None
        if self._ends_only_when_low and not low and (self._readings.gas or not still_lost):
            return False
        # A loss on top of the disturbance does not undo it: only low again does.
        return (
            self._disturbed_us is None
            or self._rule == "continue"
            or self._unseen(now_us - self._disturbed_us)
        )

    def until_us(self, end_us: int) -> int:
        """Until when it goes on: its end, or the low that its end has waited for; outputs react from there."""
        low = self._readings.low_since_us
        return max(end_us, low) if self._ends_only_when_low and low is not None else end_us

    @property
    def _rule(self) -> str:
        return "continue" if self._flaws.no_restart else self._traits.hold_on_band

    def _unseen(self, lasted_us: int) -> bool:
        # A tenth below the limit, so that a measured length cannot lie on its other side.
        return self._traits.short_band_unseen and lasted_us < self._spans.trip.min_us * 9 // 10
