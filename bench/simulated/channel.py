"""One output of the board: what its program wants of it, and when its terminal obeys.

All target instants are those of the first edge at the terminal; the coil is
told earlier, by what the relay takes.  A target is drawn not earlier than scan
and relay can meet.
"""

from __future__ import annotations

from collections.abc import Iterator

from bench.simulated.draw import Draw
from bench.simulated.flaws import OutputFlaws
from bench.simulated.logic import Change
from bench.simulated.relay import OPERATE_US, Relay
from firmware_ref.parameters import MITIGATING, Interval, Mode, Output, Parameters, Policy


class Channel:
    """One output: its policy, its call as the program sees it, its restart delay and its relay."""

    def __init__(
        self,
        output: Output,
        parameters: Parameters,
        draw: Draw,
        *,
        scan_us: int,
        slow_trip_us: int | None,
        flaws: OutputFlaws,
    ):
        self.output = output
        self._flaws = flaws
        self._mitigating = self._passes = False
        self._totals = {"trip": output.trip, "loss": output.loss}
        self._trip = parameters.qualification("trip")
        self._draw = draw
        self._lead_us = OPERATE_US + scan_us
        self._slow_trip_us = slow_trip_us
        self.rests_closed = output.kind == "contact-nc" or output.modes[Mode.UNPOWERED] is not Policy.OFF
        self.relay = Relay(draw, rests_closed=self.rests_closed, glitch_us=parameters.timing.glitch_us)
        self._policy = output.modes[Mode.UNPOWERED]
        self._next_policy: tuple[Policy, int] | None = None
        self._call = False  # as read at the terminal
        self._seen = False  # as the program has taken it over
        self._next_call: tuple[bool, int] | None = None
        self._blocked_until_us = 0
        self._running = False

    # -- what happens to it -----------------------------------------------------------------

    def start(self, supply_us: int) -> None:
        """The program starts: it takes the call as it is."""
        self._running = True
        self._seen, self._next_call = self._call, None
        self._block("power-up", supply_us)

    def lose_supply(self, now_us: int) -> None:
        """The electronics are dead."""
        self._running = False
        self._policy, self._next_policy = self.output.modes[Mode.UNPOWERED], None
        self._next_call = None
        self._blocked_until_us = 0
        self.relay.release(now_us)

    def call(self, on: bool, at_us: int) -> None:
        """The call at the board's terminal changed; a newer change supersedes a pending one."""
        self._call = on
        self._take_call(at_us)

    def supply_returned(self, at_us: int) -> None:
        """A dip was ridden through: a call that is away for no longer than it was never left."""
        self._take_call(at_us)

    def _take_call(self, at_us: int) -> None:
        self._next_call = None
        if self._running and self._call is not self._seen:
            span = self.output.follow_on if self._call else self.output.follow_off
            self._next_call = (self._call, at_us + self._within(span, at_us, at_us + self._lead_us))

    def change(self, change: Change, now_us: int) -> None:
        """The mode changed at a scan at `now_us`: this output moves at its own moment."""
        if change.before is Mode.POST_LEAK_HOLD and change.mode is Mode.NORMAL:
            self._block("release", change.anchor_us)
        if change.before is Mode.SENSOR_FAULT and change.mode is Mode.NORMAL:
            self._block("return", change.anchor_us)
        self._mitigating, self._passes = change.mode in MITIGATING, False
        policy = self.output.modes[change.mode]
        if self._flaws.not_released and change.before is Mode.POST_LEAK_HOLD and policy is not Policy.ON:
            return
        if self._next_policy is not None and self._next_policy[0] is policy:
            opens = self.output.kind in ("contact-no", "contact-nc") and policy is Policy.OFF
            if opens and self.output.react_off.min_us == 0:
                # The other alarm contact waits for it, and may have to close sooner.
                target_us = self._target(policy, change, now_us + OPERATE_US)
                self._next_policy = (policy, min(target_us, self._next_policy[1]))
            return
        self._next_policy = None
        # A resting contact that must not stay as it rests is moved too, if it has not been yet.
        rests_wrong = self.rests_closed and self.relay.told is not self._wants()
        if policy is not self._policy or rests_wrong:
            self._next_policy = (policy, self._target(policy, change, now_us + OPERATE_US))

    def went_off(self, at_us: int) -> None:
        """Its terminal went off with the board supplied; a bounce of closed contacts is none of that."""
        by_call = self.output.feed == "call" and not self._call
        restart = self.output.restart
        if restart is None or "any-off" not in restart.after or (self.relay.told and not by_call):
            return
        self._block("any-off", at_us)
        if self.relay.told:
            # A call that comes back at once must find the contacts open.
            self._seen = False
            self._take_call(at_us)
            self.relay.tell(False, at_us, at_us)

    def _block(self, event: str, at_us: int) -> None:
        restart = self.output.restart
        if restart is not None and event in restart.after:
            delay = self._draw.span(restart.delay, restart.delay.max_us)
            self._blocked_until_us = max(self._blocked_until_us, at_us + delay)

    # -- when it moves ------------------------------------------------------------------------

    def _target(self, policy: Policy, change: Change, soonest_us: int) -> int:
        """When the terminal shows a new policy, not before `soonest_us`."""
        anchor, timing = change.anchor_us, change.timing
        if timing == "exact":
            return max(anchor, soonest_us)
        total = self._totals.get(timing)
        on = policy is Policy.ON or (policy is Policy.FOLLOW and self._seen)
        react = self.output.react_on if on else self.output.react_off
        if timing == "trip" and self._slow_trip_us is not None and self._trip is not None:
            limit_us = self._trip.max_us + react.max_us if total is None else total.max_us
            return max(soonest_us, anchor + limit_us + self._slow_trip_us)
        if total is not None:
            return anchor + self._within(total, anchor, soonest_us)
        if timing != "react":
            # No total of its own: the reaction counts from the change, which is this scan.
            anchor = soonest_us - OPERATE_US
        return anchor + self._within(react, anchor, soonest_us)

    def _within(self, span: Interval, anchor_us: int, soonest_us: int) -> int:
        return self._draw.span(span, span.max_us, floor_us=soonest_us - anchor_us)

    def dues(self) -> Iterator[int]:
        """When a scan has to tell the relay something, in us."""
        for _, target in self._pending():
            yield target - self._lead_us

    @property
    def forced_on(self) -> bool:
        """Whether the mode, not its call, has it on."""
        return self._policy is Policy.ON and self.relay.told

    def at_rest(self) -> bool:
        """Whether neither its program nor its relay is about to move."""
        return self.relay.next_us() is None and next(self._pending(), None) is None

    def _pending(self) -> Iterator[tuple[str, int]]:
        if self._next_policy is not None:
            yield "policy", self._next_policy[1]
        if self._next_call is not None:
            yield "call", self._next_call[1]
        if self._wants() and not self.relay.told and self._policy is Policy.FOLLOW:
            yield "block", self._blocked_until_us

    def _wants(self) -> bool:
        passed = self._policy is Policy.FOLLOW or self._passes
        return self._policy is Policy.ON or (passed and self._seen)

    def scan(self, now_us: int, *, frozen: bool) -> None:
        """Tell the relay what is due.  `frozen`: in a supply dip calls are not read."""
        while True:
            due = [(target, what) for what, target in self._pending() if target - self._lead_us <= now_us]
            due = [d for d in due if not (frozen and d[1] == "call")]
            if not due:
                return
            target, what = min(due)
            if what == "policy" and self._next_policy is not None:
                self._policy, self._next_policy = self._next_policy[0], None
                if self._policy is Policy.FOLLOW and self._next_call is not None:
                    # The follow limit counts from here on.
                    self._take_call(max(target, now_us))
            elif what == "call" and self._next_call is not None:
                self._seen, self._next_call = self._next_call[0], None
                self._passes = self._flaws.passes_new_call and self._mitigating
            self._obey(now_us, target)
            if what == "block" and not self.relay.told:
                return

    def _obey(self, now_us: int, target_us: int) -> None:
        closed = self._wants()
        # The delay keeps an output that is off from going on; one that is on runs on.
        if closed and self._policy is Policy.FOLLOW and not self.relay.told:
            closed = self._blocked_until_us - self._lead_us <= now_us
            target_us = max(target_us, self._blocked_until_us)
        if closed is not self.relay.told:
            self.relay.tell(closed, now_us, target_us)
