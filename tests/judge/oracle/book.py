"""The parameters in whole steps of the grid."""

from __future__ import annotations

from firmware_ref.parameters import Interval, Mode, Parameters, Policy
from tests.judge.oracle.pins import Limits
from tests.judge.oracle.spans import ANY, FOREVER, Span


class Book:
    """What the profile says, in steps; a timing that is not stated may take any time and never come."""

    def __init__(self, parameters: Parameters, step_us: int) -> None:
        self.parameters, self.rules, self.step_us = parameters, parameters.rules, step_us
        t, outputs = parameters.timing, parameters.outputs
        self.boot, self.warm_up = self._span(t.boot), self._span(t.warm_up)
        self.clear, self.hold, self.back = self._span(t.clear), self._span(t.hold), self._span(t.return_)
        self.ride = self._span(t.ride_through)
        self.trip = self._qualifies(t.trip, [o.trip for o in outputs])
        self.loss = self._qualifies(t.loss, [o.loss for o in outputs])
        #: How long the sensors may be not low unseen by a hold.
        self.unseen = FOREVER if self.trip == ANY else self.trip.least
        self.totals = [(self._span(o.trip), self._span(o.loss)) for o in outputs]
        self.limits = [
            Limits(
                own_feed=o.feed != "call",
                follow=(self._span(o.follow_off), self._span(o.follow_on)),
                react=(self._span(o.react_off), self._span(o.react_on)),
                delay=None if o.restart is None else self._span(o.restart.delay),
                after=frozenset() if o.restart is None else o.restart.after,
            )
            for o in outputs
        ]
        self.oldest = 1 + max(s.most for one in self.limits for s in one.follow)
        #: The supply's absence is counted no further than this.
        reset = self.rules.reset_supply_off_us
        self.absent = 1 + max(
            0 if reset is None else -(-reset // step_us),
            self.ride.least if self.ride == ANY else self.ride.most,
        )

    def _span(self, interval: Interval | None) -> Span:
        if interval is None:
            return ANY
        if interval.min_us % self.step_us or interval.max_us % self.step_us:
            raise ValueError(f"{interval} is not on a grid of {self.step_us} us")
        return Span(interval.min_us // self.step_us, interval.max_us // self.step_us)

    def _qualifies(self, general: Interval | None, totals: list[Interval | None]) -> Span:
        """[Smallest min, smallest max] of all that is stated."""
        spans = [self._span(i) for i in (general, *totals) if i is not None]
        return Span(min(s.least for s in spans), min(s.most for s in spans)) if spans else ANY

    def options(self, rule: str) -> tuple[str, ...]:
        """What a board may do about it: what the profile says, or any answer."""
        said = {
            "band": (self.rules.hold_on_band, ("continue", "pause", "restart")),
            "lost": (self.rules.hold_when_lost, ("run", "pause", "restart")),
            "cut": (self.rules.after_supply_loss, ("resume", "restart_hold", "forget")),
        }[rule]
        return said[1] if said[0] is None else (said[0],)

    def off(self, n: int, *modes: Mode) -> bool:
        """Whether output `n` is off without supply and in all these modes."""
        policies = self.parameters.outputs[n].modes
        return all(policies[m] is Policy.OFF for m in (Mode.UNPOWERED, *modes))

    def passes(self, n: int) -> bool:
        """Whether output `n` passes its call without supply."""
        return self.parameters.outputs[n].modes[Mode.UNPOWERED] is Policy.FOLLOW
