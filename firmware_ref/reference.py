"""The reference machine with a clock: one board, every timing at its nominal.

Used where one concrete run is wanted (the dry run of a procedure).  Time is an
argument in integer microseconds and never goes back.  Timers are data: what is
due is worked out from the state, when it was entered, and since when the
condition has held.  Where a stimulus and a deadline fall on the same instant
the deadline goes first.
"""

from __future__ import annotations

from firmware_ref.gestures import Gestures
from firmware_ref.machine import ASKED, MODES, TABLE, WATCH, LeakMitigation, Memory, Needs, Watch
from firmware_ref.parameters import Condition, Interval, Mode, Parameters, Policy

#: Stands for a timing that the profile does not state, so that a dry run can go on.
UNSTATED_US = 5_000_000
#: Not an event of the machine: something about the button is to be decided.
_PRESSED = "pressed"


class ReferenceBoard:
    """Supply and sensor condition in, mode and output policies out."""

    def __init__(self, parameters: Parameters) -> None:
        self.parameters = parameters
        self.machine = LeakMitigation(parameters.rules)
        self.now_us = 0
        self._entered_us = 0
        self._supply_us: int | None = None
        self._supply_off_us: int | None = None
        self._condition = Condition.LOST
        self._since_us: dict[Needs, int] = {}
        self._hold_due_us: int | None = None
        self._hold_left_us: int | None = None
        self._gestures = Gestures(parameters.button) if parameters.button is not None else None

    @property
    def state(self) -> str:
        return self.machine.state_id

    @property
    def mode(self) -> Mode:
        return MODES[self.state]

    def policy(self, output: str) -> Policy:
        """What the named output does in the present mode."""
        return self.parameters.output(output).modes[self.mode]

    def supply(self, on: bool, at_us: int) -> None:
        """The 24 VAC supply comes or goes at `at_us`."""
        self.advance_to(at_us)
        if on:
            if self.mode is Mode.UNPOWERED:
                self._power_up(at_us)
            self._supply_off_us = None
            if self._supply_us is None:
                self._supply_us = at_us
        elif self._supply_us is not None:
            self._supply_off_us = at_us

    def condition(self, condition: Condition, at_us: int) -> None:
        """All sensors together say `condition` from `at_us` on."""
        self.advance_to(at_us)
        self._condition = condition
        if self._supply_us is not None:
            self._note_condition(at_us)
        self._hold_rules(at_us)

    def button(self, closed: bool, at_us: int) -> None:
        """The service button's contact closes or opens at `at_us`."""
        self.advance_to(at_us)
        if self._gestures is not None and self._supply_us is not None:
            self._gestures.contact(closed, at_us)

    def next_deadline_us(self) -> int | None:
        """When something changes by itself, given no further input."""
        due = self._due()
        return due[0] if due else None

    def advance_to(self, to_us: int) -> None:
        """Let everything happen that is due up to and at `to_us`."""
        if to_us < self.now_us:
            raise ValueError(f"time goes back from {self.now_us} to {to_us} us")
        while (due := self._due()) and due[0] <= to_us:
            self.now_us, event = due
            if event == _PRESSED:
                self._pressed()
            else:
                self._fire(event)
        self.now_us = to_us

    def _due(self) -> tuple[int, str] | None:
        waiting = [
            (max(deadline, self.now_us), w.event)
            for w in WATCH[self.state]
            if (deadline := self._deadline(w)) is not None
        ]
        if self._supply_off_us is not None and self.mode is not Mode.UNPOWERED:
            ride = _nominal(self.parameters.timing.ride_through, 0)
            waiting.append((max(self._supply_off_us + ride, self.now_us), "supply_lost"))
        pressed_us = None if self._gestures is None else self._gestures.next_us()
        if pressed_us is not None:
            waiting.append((max(pressed_us, self.now_us), _PRESSED))
        return min(waiting, default=None)

    def _pressed(self) -> None:
        assert self._gestures is not None
        for action in self._gestures.advance(self.now_us):
            event = ASKED.get(action)
            early = event == "reset_asked" and self._condition is Condition.LOST
            if event is not None and (self.state, event) in TABLE and not early:
                self._fire(event)

    def _deadline(self, watch: Watch) -> int | None:
        timing = self.parameters.timing
        if watch.needs is Needs.SUPPLY:
            span = timing.boot if watch.timer == "boot" else timing.warm_up
            return None if self._supply_us is None else self._supply_us + span.middle_us
        if watch.needs is Needs.NOTHING:
            return self._entered_us + _nominal(timing.self_test)
        if self.state == "self_test" and not self._ends_self_test(watch.event):
            return None
        if watch.needs is Needs.HOLD:
            if self.state == "post_leak_hold_lost" and self.parameters.rules.hold_when_lost != "run":
                return None
            return self._hold_due_us
        since = self._since_us.get(watch.needs)
        if since is None:
            return None
        if watch.event == "returned" and self._may_not_return():
            return None
        if watch.event in ("tripped", "lost"):
            return since + _nominal(self.parameters.qualification(watch.timer))
        start = max(since, self._entered_us)
        return start + _nominal(timing.clear if watch.timer == "clear" else timing.return_)

    def _ends_self_test(self, event: str) -> bool:
        rules = self.parameters.rules
        return (rules.leak_in_self_test if event == "tripped" else rules.loss_in_self_test) == "ends"

    def _may_not_return(self) -> bool:
        return self.parameters.rules.return_only_when == "not-high" and self._condition is Condition.HIGH

    def _fire(self, event: str) -> None:
        before = self.state
        if event == "supply_lost":
            self._remember()
        self.machine.memory.sensor_good = self._condition is not Condition.LOST
        self.machine.send(event)
        if event == "supply_lost":
            self._supply_us = None
            self._since_us.clear()
        self._entered_us = self.now_us
        if event == "cleared":
            self._hold_due_us = self.now_us + _nominal(self.parameters.timing.hold)
        elif event == "lost" and before == "post_leak_hold" and self._hold_due_us is not None:
            self._hold_left_us = self._hold_due_us - self.now_us
        elif self.state == "post_leak_hold":
            self._enter_hold_again(before)
        if MODES[self.state] not in (Mode.POST_LEAK_HOLD, Mode.UNPOWERED):
            self._hold_due_us = self._hold_left_us = None
        self._hold_rules(self.now_us)

    def _enter_hold_again(self, before: str) -> None:
        full = _nominal(self.parameters.timing.hold)
        runs_on = before == "post_leak_hold_lost" and self.parameters.rules.hold_when_lost == "run"
        if not runs_on:
            self._hold_due_us = self.now_us + (self._hold_left_us if self._hold_left_us is not None else full)
        self._hold_left_us = None

    def _hold_rules(self, at_us: int) -> None:
        """Pause, restart or go on with the hold while the sensors are not low."""
        if self.state != "post_leak_hold" or self._condition is Condition.LOST:
            return
        rule = self.parameters.rules.hold_on_band or "continue"
        low = self._condition is Condition.LOW
        if not low and rule != "continue" and self._hold_due_us is not None:
            self._hold_left_us = self._hold_due_us - at_us
            self._hold_due_us = None
        elif low and self._hold_due_us is None and self._hold_left_us is not None:
            full = _nominal(self.parameters.timing.hold)
            self._hold_due_us = at_us + (self._hold_left_us if rule == "pause" else full)
            self._hold_left_us = None

    def _remember(self) -> None:
        rule = self.parameters.rules.after_supply_loss
        memory: Memory = self.machine.memory
        memory.mitigation = None
        if self.mode is Mode.LEAK_ACTIVE and rule in ("resume", "restart_hold"):
            memory.mitigation = "leak"
        elif self.mode is Mode.POST_LEAK_HOLD and rule in ("resume", "restart_hold"):
            memory.mitigation = "hold" if rule == "resume" else "leak"
            if self._hold_due_us is not None:
                self._hold_left_us = self._hold_due_us - self.now_us

    def _power_up(self, at_us: int) -> None:
        reset_us = self.parameters.rules.reset_supply_off_us
        off_us = None if self._supply_off_us is None else at_us - self._supply_off_us
        if reset_us is not None and off_us is not None and off_us >= reset_us:
            self.machine.memory.latched = False
        self._supply_us = at_us
        self._note_condition(at_us)

    def _note_condition(self, at_us: int) -> None:
        holds = {
            Needs.HIGH: self._condition is Condition.HIGH,
            Needs.LOW: self._condition is Condition.LOW,
            Needs.LOST: self._condition is Condition.LOST,
            Needs.GOOD: self._condition is not Condition.LOST,
        }
        for needs, so in holds.items():
            if so:
                self._since_us.setdefault(needs, at_us)
            else:
                self._since_us.pop(needs, None)


def _nominal(span: Interval | None, unstated_us: int = UNSTATED_US) -> int:
    return unstated_us if span is None else span.middle_us
