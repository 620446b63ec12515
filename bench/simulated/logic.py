"""The board's program: which mode it is in, and what takes it on.

Written from the words of the required behaviour, apart from the reference
machine.  `scan` is called at the scan's instants only; a timer runs from the
instant its condition began, and the change it brings is carried out at the
first scan at or after its end.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from bench.simulated.draw import Draw
from bench.simulated.flaws import Flaws
from bench.simulated.hold import Hold
from bench.simulated.readings import Readings
from bench.simulated.timers import Timer, Timers
from bench.simulated.traits import Spans, Traits
from firmware_ref.parameters import MITIGATING, Mode, Parameters


@dataclass(frozen=True, slots=True)
class Change:
    """One change of mode.

    `timing` says how the outputs time their moves: `trip` and `loss` are
    totals from `anchor_us`; `react` counts from `anchor_us`, the instant of
    the change; `exact` puts every output's edge on `anchor_us`.
    """

    mode: Mode
    before: Mode
    anchor_us: int
    timing: str


class Logic:
    """Modes of one board while its electronics live."""

    def __init__(
        self, parameters: Parameters, readings: Readings, traits: Traits, spans: Spans, draw: Draw,
        *, latency_us: int, flaws: Flaws,
    ) -> None:  # fmt: skip
        """`latency_us`: what scan and relay add at most between a change and a terminal."""
        self._rules, self._timing = parameters.rules, parameters.timing
        self._readings, self._traits, self._spans, self._draw = readings, traits, spans, draw
        self._latency_us = latency_us
        self._flaws = flaws
        self._timers = Timers(spans, draw, latency_us=latency_us, flaws=flaws)
        self._hold = Hold(
            readings, traits, spans, draw,
            ends_only_when_low=parameters.rules.hold_ends_only_when == "low", latency_us=latency_us, flaws=flaws,
        )  # fmt: skip
        self.mode = Mode.UNPOWERED
        self._changes: list[Change] = []
        self._asked: list[tuple[int, str]] = []  # by the button: when, what
        self._test_over_us = 0
        self.last_fault: Mode | None = None  # what recall shows, until it is cleared
        self.on_us = 0  # the supply came
        self._boot_us: int | None = None  # when the program starts; None once it runs
        self._warm_us = 0
        self._latched = False
        self._loss_noted = False  # in mitigation: the sensor counts as lost until `return`
        self._back: Timer | None = None  # the return after such a loss: `clear` may start within it
        self._memory: tuple[Mode, int] | None = None  # mitigation and what is left of its hold
        self._steps = {
            Mode.START_UP: self._in_start_up,
            Mode.NORMAL: self._in_normal,
            Mode.LEAK_ACTIVE: self._in_leak,
            Mode.POST_LEAK_HOLD: self._in_hold,
            Mode.SENSOR_FAULT: self._in_fault,
            Mode.SELF_TEST: self._in_self_test,
        }

    def power_down(self, at_us: int, *, forget: bool = False) -> None:
        """The electronics die; `forget`: the memory is lost with them."""
        if forget:
            self._memory = None
        elif self.mode in MITIGATING:
            # A hold that a loss has ended, to be made afresh, is remembered like the leak.
            ended = self._loss_noted and self._traits.hold_when_lost == "restart"
            self._memory = (Mode.LEAK_ACTIVE if ended else self.mode, self._hold.left_us(at_us))
        self.mode = Mode.UNPOWERED
        self._boot_us = None
        self._test_over_us = 0
        self._loss_noted = False
        self._asked.clear()
        self._timers.drop()
        self._hold.stop()

    def power_up(self, at_us: int, off_us: int | None) -> int:
        """Supply on after `off_us` without (None: for the first time); returns when the program starts, in us."""
        reset = self._rules.reset_supply_off_us
        if reset is not None and off_us is not None and (off_us >= reset or self._flaws.forgets_fault):
            self._latched = False
        if self._traits.after_supply_loss == "forget" or self._flaws.forgets_mitigation:
            self._memory = None
        boot, warm = self._timing.boot, self._timing.warm_up
        judged = warm.max_us + self._spans.react_max_us
        self.on_us = at_us
        booted = self._draw.span(boot, boot.max_us + self._spans.react_max_us, spare_us=self._latency_us)
        self._boot_us = at_us + booted
        self._warm_us = at_us + self._draw.span(warm, judged, spare_us=self._latency_us)
        return self._boot_us

    def scan(self, now_us: int) -> list[Change]:
        """One pass of the program: the changes of mode it makes, in order."""
        self._changes = []
        if self._boot_us is not None and now_us >= self._boot_us:
            self._boot(self._boot_us)
        self._go_on(now_us)
        asked, self._asked = self._asked, []
        for at_us, action in asked:
            self._answer(action, at_us, now_us)
            self._go_on(now_us)
        return self._changes

    def _go_on(self, now_us: int) -> None:
        while self.mode is not Mode.UNPOWERED and self._steps[self.mode](now_us):
            pass

    def ask(self, action: str, at_us: int) -> None:
        """The button asks for something, to be answered in the next pass."""
        self._asked.append((at_us, action))

    def _answer(self, action: str, at_us: int, now_us: int) -> None:
        at_us = self._instant(at_us, now_us)
        if action == "self-test" and self.mode is Mode.NORMAL:
            self._enter(Mode.SELF_TEST, at_us, "react")
            span = self._spans.self_test
            lasts_us = self._draw.span(
                span, span.max_us + self._spans.react_max_us, spare_us=self._latency_us
            )
            self._test_over_us = at_us + lasts_us
        elif action == "reset" and self._latched and not self._flaws.reset_ignored:
            self._reset(at_us, now_us)
        elif action == "clear-faults" and not self._flaws.clear_ignored:
            self.last_fault = None

    def _reset(self, at_us: int, now_us: int) -> None:
        """Of a latched fault."""
        if self.mode in MITIGATING:
            self._latched = not self._traits.resets_in_mitigation
            return
        good = self._readings.good_since_us
        early = good is None or now_us - good < self._spans.return_.max_us
        if self.mode is not Mode.SENSOR_FAULT or (early and self._traits.early_reset == "refused"):
            return
        self._latched = False
        if not early or self._traits.early_reset == "normal":
            self._test_over_us = at_us
            self._timers.drop("loss", "trip")
            self._enter(Mode.NORMAL, at_us, "react")

    @property
    def loss_noted(self) -> bool:
        """Whether, in a leak or hold, the sensor counts as lost."""
        return self._loss_noted

    def dues(self) -> Iterator[int]:
        """Instants at which a scan may find something to do."""
        yield from self._timers.dues()
        if self._boot_us is not None:
            yield self._boot_us
        if self._hold.end_us is not None:
            yield self._hold.end_us
        if self.mode is Mode.START_UP:
            yield self._warm_us
        if self.mode is Mode.SELF_TEST and not self._flaws.self_test_endless:
            yield self._test_over_us

    def _boot(self, at_us: int) -> None:
        self._boot_us = None
        if self._memory is None:
            self._enter(Mode.SENSOR_FAULT if self._latched else Mode.START_UP, at_us, "react")
            return
        mode, left = self._memory
        if mode is Mode.POST_LEAK_HOLD and self._traits.after_supply_loss == "resume":
            self._enter(mode, at_us, "react")
            self._hold.run_on(self._draw.between(self.on_us, self._warm_us), left)
        else:
            self._enter(Mode.LEAK_ACTIVE, at_us, "react")

    def _enter(self, mode: Mode, anchor_us: int, timing: str) -> bool:
        self._changes.append(Change(mode, self.mode, anchor_us, timing))
        if mode in (Mode.LEAK_ACTIVE, Mode.SENSOR_FAULT):
            self.last_fault = mode
            self._test_over_us = 0  # a self-test that this ended
        self.mode = mode
        self._timers.drop("clear", "return")
        self._hold.stop()
        self._back = None
        if mode not in MITIGATING:
            self._loss_noted = False
            self._memory = None
        return True

    def _in_start_up(self, now_us: int) -> bool:
        if self._in_normal(now_us):
            self._timers.begin_by(now_us)  # whatever the warm-up kept it from watching
            return True
        waits = self._rules.check_before_normal and self._readings.high_since_us is not None
        if now_us < self._warm_us or waits:
            return False
        due_us = self._warm_us
        if self._rules.check_before_normal:
            due_us = max(due_us, self._readings.high_ended_us)
        return self._enter(Mode.NORMAL, self._instant(due_us, now_us), "react")

    def _in_normal(self, now_us: int) -> bool:
        trip, loss = self._trip(now_us), self._loss(now_us)
        if trip is not None and (loss is None or trip.due_us <= loss.due_us):
            return self._enter(Mode.LEAK_ACTIVE, trip.anchor_us, "trip")
        if loss is not None:
            self._latched = self._traits.latching
            return self._enter(Mode.SENSOR_FAULT, loss.anchor_us, "loss")
        return False

    def _in_self_test(self, now_us: int) -> bool:
        trip = self._trip(now_us) if self._traits.leak_in_self_test == "ends" else None
        loss = self._loss(now_us) if self._traits.loss_in_self_test == "ends" else None
        if self._flaws.self_test_blind:
            trip = loss = None
        if trip is not None and (loss is None or trip.due_us <= loss.due_us):
            return self._enter(Mode.LEAK_ACTIVE, trip.anchor_us, "trip")
        if loss is not None:
            self._latched = self._traits.latching
            return self._enter(Mode.SENSOR_FAULT, loss.anchor_us, "loss")
        if now_us < self._test_over_us or self._flaws.self_test_endless:
            return False
        if self._traits.leak_in_self_test == "waits":
            self._timers.drop("trip")
        if self._traits.loss_in_self_test == "waits":
            self._timers.drop("loss")
        return self._enter(Mode.NORMAL, self._instant(self._test_over_us, now_us), "react")

    def _in_leak(self, now_us: int) -> bool:
        if self._loss_in_mitigation(now_us) or self._return_in_mitigation(now_us):
            return True
        if self._loss_noted:
            return False
        clear = self._timers.over("clear", self._readings.clear_since_us, now_us, self._clear_begins)
        if clear is None:
            return False
        span = self._spans.clear
        # A clear timer that ran during the return is carried out when that is over.
        at = self._instant(clear.due_us, now_us)
        self._enter(Mode.POST_LEAK_HOLD, at, "react")
        self._hold.start(at, clear.earliest_us + span.min_us, clear.latest_us + span.max_us)
        return True

    def _in_hold(self, now_us: int) -> bool:
        trip = None if self._flaws.no_restart else self._trip(now_us)
        if trip is not None:
            self._loss_noted = False  # a leak begins anew; a sensor that is still lost is noticed again
            return self._enter(Mode.LEAK_ACTIVE, trip.anchor_us, "trip")
        if self._loss_in_mitigation(now_us) or self._return_in_mitigation(now_us):
            return True
        self._hold.follow_band()
        end, exact = self._hold.end_us, self._hold.exact_us
        still_lost = self._loss_noted and self._readings.good_since_us is None
        if end is None or now_us < end or not self._hold.may_end(now_us, still_lost):
            return False
        at = self._instant(self._hold.until_us(end), now_us)
        if still_lost:
            self._latched = self._traits.latching
        if still_lost or self._latched:
            return self._enter(Mode.SENSOR_FAULT, at, "react")
        high = self._readings.high_since_us
        if self._flaws.no_restart and high is not None:
            self._timers.restart("trip", high, now_us)
        if exact is not None:
            return self._enter(Mode.NORMAL, exact, "exact")
        return self._enter(Mode.NORMAL, at, "react")

    def _in_fault(self, now_us: int) -> bool:
        trip = self._trip(now_us)
        if trip is not None:
            return self._enter(Mode.LEAK_ACTIVE, trip.anchor_us, "trip")
        back = self._timers.over("return", self._readings.good_since_us, now_us)
        high = self._readings.high_since_us is not None
        if back is None or self._latched or (high and not self._traits.returns_while_high):
            return False
        at = self._instant(back.due_us, now_us)
        if self._rules.after_fault != "hold":
            return self._enter(Mode.NORMAL, at, "react")
        span = self._spans.return_
        self._enter(Mode.POST_LEAK_HOLD, at, "react")
        self._hold.start(at, back.since_us + span.min_us, back.since_us + span.max_us)
        return True

    def _loss_in_mitigation(self, now_us: int) -> bool:
        """A loss that has qualified: mitigation goes on, the clear timer is cancelled."""
        loss = None if self._loss_noted else self._loss(now_us)
        if loss is None:
            return False
        if self._flaws.loss_ends_mitigation:
            self._timers.restart("loss", loss.since_us, now_us)
            return self._enter(Mode.NORMAL, loss.due_us, "react")
        if self._traits.latching and self._traits.latches_in_mitigation:
            self._latched = True
        if self.mode is Mode.POST_LEAK_HOLD and self._traits.hold_when_lost == "restart":
            self._hold.stop()
        elif self.mode is Mode.POST_LEAK_HOLD and self._traits.hold_when_lost == "pause":
            self._hold.pause(loss.due_us)
        self._timers.drop("clear", "return")
        self._loss_noted = True
        return True

    def _return_in_mitigation(self, now_us: int) -> bool:
        if not self._loss_noted:
            return False
        back = self._timers.over("return", self._readings.good_since_us, now_us)
        if back is None:
            return False
        self._loss_noted = False
        if self.mode is Mode.POST_LEAK_HOLD and self._traits.hold_when_lost == "restart":
            self._enter(Mode.LEAK_ACTIVE, back.due_us, "react")
        if self.mode is Mode.LEAK_ACTIVE:
            self._back = back
        elif self._hold.end_us is None:
            self._hold.run_on(back.due_us)
        return True

    def _trip(self, now_us: int) -> Timer | None:
        return self._timers.over("trip", self._readings.high_since_us, now_us, self._trip_begins)

    def _loss(self, now_us: int) -> Timer | None:
        return self._timers.over("loss", self._readings.lost_since_us, now_us, self._loss_begins)

    def _trip_begins(self, since_us: int) -> tuple[int, int]:
        good = self._readings.good_since_us
        if self.mode is Mode.SENSOR_FAULT and good is not None:
            return since_us, max(since_us, good + self._spans.return_.min_us)
        return self._loss_begins(since_us)

    def _loss_begins(self, since_us: int) -> tuple[int, int]:
        """During warm-up a board may watch its sensor or not."""
        if self.mode is Mode.NORMAL and self._test_over_us > since_us:  # or afresh from there
            return since_us, self._test_over_us
        watches = self.mode is not Mode.START_UP or self._rules.check_before_normal
        return since_us, since_us if watches else max(since_us, self._warm_us)

    def _clear_begins(self, since_us: int) -> tuple[int, int]:
        if self._back is None:
            return since_us, since_us
        return max(since_us, self._back.since_us), max(since_us, self._back.due_us)

    def _instant(self, due_us: int, now_us: int) -> int:
        """When a change took place: at the end of its timer, or now where something else held it up."""
        return due_us if now_us - due_us <= self._traits.scan_us else now_us
