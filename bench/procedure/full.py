"""`full`: everything that the profile has, whatever board time it takes.

What `acceptance` does, and besides: every sensor's own trip and the levels at
which it trips and clears, every way to be lost in every mode, levels between
and beside the bands, conditions broken off again and again before they count, a
leak just before the release, restart delays, and the supply cut in every mode.
What this board or this bench cannot show is left out, and said why.
"""

from __future__ import annotations

from collections.abc import Iterable

from bench.judge.bounds import expected_bound_us
from bench.judge.recall import recalls, spans_of
from bench.procedure.level_test import LevelWriter
from bench.procedure.pressing import just_too_little
from bench.procedure.short import least_share
from bench.procedure.steps import Procedure, Wait, WaitTimer
from bench.procedure.timers import LONGEST_WAIT_US, past_us, span
from bench.procedure.words import say_us
from bench.procedure.writer import LATE_HOLD_US, LATE_US, Settings, good_again, said
from firmware_ref.parameters import Interval, Mode, Parameters

ABOUT = (
    "everything that the profile has: every mode, sensor, way of loss, level, broken condition, supply cut"
)

#: A condition is broken off at this share of the shortest time in which it may count; ours.
_BROKEN = 0.8
#: What moving and reading back a signal takes at most, and how long the signal rests between two tries; ours.
_MOVING_US = 200_000
_REST_US = 300_000
#: No more tries than this; ours.
_MOST_TRIES = 20
#: A dip shorter than this cannot be made: the switch is moved, read back and moved again.
_SHORTEST_DIP_US = 100_000


def full(parameters: Parameters) -> Procedure:
    """The longest test of one board."""
    writer = _Full(parameters)
    writer.write()
    return Procedure("full", ABOUT, tuple(writer.steps), left_out=writer.not_gone_through())


def _why_not(rule: str, lasts: Interval | None, timer: str) -> str:
    """Why something in the self-test is left out."""
    if lasts is None:
        return "self_test is not stated"
    return f"{rule} is not stated, or {timer} may take longer than the self-test"


class _Full(LevelWriter):
    def __init__(self, parameters: Parameters) -> None:
        super().__init__(parameters)
        #: The level between the bands can be told from both.
        self._between = [f"sensor.{s.name}" for s in parameters.sensors if s.kind in ("analog", "modbus")]
        self._share = least_share(parameters)

    def write(self) -> None:
        self._power_up()
        self._calls_alone()
        self._part = "Combinations of calls"
        self._walk(following=True)
        self._restart_delays()
        self._too_short_in_normal()
        self._button()
        self._first_leak()
        self._recall()
        self._leak_before_the_release()
        self._between_in_the_hold()
        self._level_test()
        self._cuts_in_mitigation()
        self._cuts()
        if self._cannot_reset:
            self._one_loss_that_lasts()
        else:
            self._losses_in_the_hold()
            self._losses()
            self._recall(clear=True)
            self._leak_in_fault()
            if self._latches:
                for way in self._ways_in_a_leak():
                    self._loss_in_a_leak_of_its_own(way)
        self._say_what_no_board_shows()

    # Normal.

    def _restart_delays(self) -> None:
        for output in self.parameters.outputs:
            if output.restart and output.call and "any-off" in output.restart.after:
                self._part = f"Restart delay of {output.name}"
                for on in (True, False, True, False):  # the second on comes within the delay of the off
                    self._set({output.call: on}, following=on)

    def _too_short_in_normal(self) -> None:
        self._part = "Between the levels"
        for sensor in self._between:
            self._set(self._telling_calls(Mode.LEAK_ACTIVE), following=True)
            self._apply((sensor, "between"))
            self._add(WaitTimer("trip"))
            self._apply((sensor, "clear"))
        trip, loss = (self.parameters.qualification(what) for what in ("trip", "loss"))
        for sensor in self.sensors:
            self._part = f"Leaks too short to trip: {sensor}"
            self._set(self._telling_calls(Mode.LEAK_ACTIVE), following=True)
            self._broken("trip", trip, ((sensor, "leak"),), ((sensor, "clear"),))
        for way in self._ways:
            self._part = f"Sensor lost too shortly: {said(way)}"
            self._set(self._telling_calls(Mode.SENSOR_FAULT), following=True)
            self._broken("loss", loss, way, good_again(way))

    def _broken(self, what: str, needed: Interval | None, begin: Settings, end: Settings) -> None:
        """A condition begun and broken off until all tries together last longer than it may ever take."""
        each_us = 0 if needed is None else round(needed.min_us * _BROKEN) - _MOVING_US
        if needed is None or each_us < _MOVING_US:
            shortest = "is not stated" if needed is None else f"may be as short as {say_us(needed.min_us)}"
            self.left_out.append(f"a {what} broken off before it counts: {what} {shortest}")
            self._part = ""
            return
        for _ in range(min(_MOST_TRIES, needed.max_us * 6 // (each_us * 5) + 2)):
            self._apply(*begin)
            self._add(Wait(each_us))
            self._apply(*end)
            self._add(Wait(_REST_US))
        self._add(WaitTimer(what))

    # The service button and the self-test.

    def _button(self) -> None:
        button = self.parameters.button
        if button is None:
            return
        for why, pressing in just_too_little(button, "self-test"):
            self._part = f"Button: {why} for a self-test"
            self._set(self._telling_calls(Mode.SELF_TEST), following=True)
            self._press(pressing)
        for action in ("recall", "clear-faults"):
            if action in button.gestures:
                self._part = f"Button: {action}"
                self._make(action)
        if "reset" in button.gestures:
            self._part = "Button: reset, where there is nothing to reset"
            self._make("reset")
        if self.parameters.has_self_test:
            self._self_test()

    def _recall(self, clear: bool = False) -> None:
        """The last fault at the light; with `clear` once more after stored faults were cleared."""
        button, light = self.parameters.button, self.parameters.light
        if button is None or light is None or not recalls(self.parameters):
            return
        spans = spans_of(light)
        assert spans is not None
        if clear and self._latches and self._reset_by_button:  # else the last cut may have made it forget
            self._button_has_reset = False
            self._lose(self._ways[0])
            self._come_back(self._ways[0])
        self._part = "Recall of the last fault"
        self._add(Wait(spans.settled_us + _MOVING_US, "until the light shows normal"))
        self._make("recall")
        self._add(Wait(spans.over_us, "until the recall is over"))
        if clear and "clear-faults" in button.gestures:
            self._part = "Recall after stored faults are cleared"
            self._make("clear-faults")
            self._make("recall")
            self._add(Wait(spans.over_us, "until the recall is over"))

    def _self_test(self) -> None:
        self._part = "Self-test"
        self._set(self._telling_calls(Mode.SELF_TEST), following=True)
        self._make("self-test")
        self._late(Mode.SELF_TEST, LATE_US)
        self._add(WaitTimer("self_test"))
        self._late(Mode.NORMAL, LATE_US)
        if self._restarts_after("any-off"):
            self._add(WaitTimer("restart"))
        lasts = self.parameters.timing.self_test
        if self._shorter_than_a_self_test("loss") and not (self._latches and self._cannot_reset):
            for way in self._ways[:1]:
                self._lose_in_self_test(way)
        elif self._ways:
            self.left_out.append(
                f"a sensor lost in the self-test: {_why_not('loss_in_self_test', lasts, 'loss')}"
            )
        if self._shorter_than_a_self_test("trip"):
            self._leak_in_self_test()
        else:
            self.left_out.append(f"a leak in the self-test: {_why_not('leak_in_self_test', lasts, 'trip')}")

    def _shorter_than_a_self_test(self, timer: str) -> bool:
        """Whether the profile says what comes of it, and it surely comes before the self-test is over."""
        rules, lasts = self.parameters.rules, self.parameters.timing.self_test
        rule = rules.leak_in_self_test if timer == "trip" else rules.loss_in_self_test
        needed_us, answered_us = past_us(self.parameters, timer), past_us(self.parameters, "button")
        if rule is None or lasts is None or needed_us is None or answered_us is None:
            return False
        return answered_us + needed_us + _MOVING_US < lasts.min_us

    def _begin_self_test(self, part: str, calls: Mode) -> None:
        self._part = part
        self._set(self._telling_calls(calls), following=True)
        self._make("self-test")

    def _lose_in_self_test(self, way: Settings) -> None:
        self._begin_self_test(f"Sensor lost in the self-test: {said(way)}", Mode.SENSOR_FAULT)
        self._apply(*way)
        self._add(WaitTimer("loss"))
        if self.parameters.rules.loss_in_self_test == "waits":  # then it is noticed once that is over
            self._add(WaitTimer("self_test"))
            self._add(Wait(past_us(self.parameters, "loss") or 0))
        self._late(Mode.SENSOR_FAULT, LATE_US)
        self._come_back(way)

    def _leak_in_self_test(self) -> None:
        self._begin_self_test("Leak in the self-test", Mode.LEAK_ACTIVE)
        self._apply((self.sensors[0], "leak"))
        self._add(WaitTimer("trip"))
        self._late(Mode.LEAK_ACTIVE, LATE_US)
        self._add(WaitTimer("self_test"))  # whose own end must end no mitigation
        if self.parameters.rules.leak_in_self_test == "waits":
            self._add(Wait(past_us(self.parameters, "trip") or 0))
            self._late(Mode.LEAK_ACTIVE, LATE_US)
        self._part = "The button's gesture for the self-test in the leak"
        self._make("self-test")
        self._clear()
        self._part = "And in the hold"
        self._make("self-test")
        self._release()

    # Leak and hold.

    def _first_leak(self) -> None:
        self._leak()
        self._walk()
        leaking = self.sensors[0]
        self._part = "Clear broken off during the leak"
        self._broken("clear", self.parameters.timing.clear, ((leaking, "clear"),), ((leaking, "leak"),))
        if not self._latches:
            for way in self._ways_in_a_leak():
                self._lose_in_leak(way)
        self._clear()
        self._walk()
        for sensor in self.sensors[1:] or self.sensors:
            self._part = f"Second leak in the hold, {sensor}"
            self._add(WaitTimer("hold", 0.5))
            self._trip(sensor)
            self._apply((sensor, "clear"))
        self._release()

    def _level_test(self) -> None:
        for sensor in (s for s in self.parameters.sensors if s.kind == "analog"):
            channel = f"sensor.{sensor.name}"
            self._up(sensor, channel)
            self._down(sensor, channel)

    def _ways_in_a_leak(self) -> list[Settings]:
        ways = []
        for way in self._ways:
            if self._crosses_clear(way):
                self.left_out.append(
                    f"{said(way)} during a leak: the signal crosses the clear level on its way, "
                    "which the board may take for clear"
                )
            else:
                ways.append(way)
        return ways

    def _telling_rest_us(self) -> int:
        """Long enough that what the board took the time for shows at the release."""
        hold, clear = span(self.parameters, "hold"), span(self.parameters, "clear")
        if hold is None or clear is None:
            return past_us(self.parameters, "trip") or _REST_US
        longest = max(hold.width_us, clear.max_us, past_us(self.parameters, "trip") or 0)
        return longest + 4 * expected_bound_us(hold.max_us)

    def _begin_hold(self) -> None:
        self._leak()
        self._lost_in_leak = False
        self._clear()

    def _leak_before_the_release(self) -> None:
        hold, trip = span(self.parameters, "hold"), past_us(self.parameters, "trip")
        if hold is None or trip is None or trip > hold.min_us * (1 - self._share):
            self.left_out.append(
                "a leak just before the release: clear, hold or trip is not stated, or too long"
            )
            return
        self._begin_hold()
        self._part = "Leak just before the release"
        # The latest that surely trips before the hold may end, down to whole thousandths of it.
        self._add(WaitTimer("hold", (hold.min_us - trip) * 1000 // hold.min_us / 1000))
        leaking = self.sensors[0]
        self._trip(leaking)
        if leaking in self._between:
            self._part = "Between the levels after it: no clear yet"
            self._apply((leaking, "between"))
            self._add(Wait(self._telling_rest_us()))
        self._part = "The whole hold and the release"
        self._apply((leaking, "clear"))
        self._release()
        if self.parameters.rules.hold_ends_only_when != "low":
            self.left_out.append("a leak that trips after the hold is over: the board may release before it")

    def _between_in_the_hold(self) -> None:
        if not self._between:
            return
        if self.parameters.rules.hold_on_band is None:
            self.left_out.append("between the levels in the hold: hold_on_band is not stated")
            return
        for sensor in self._between:
            self._begin_hold()
            self._part = f"Between the levels in the hold, {sensor}"
            self._add(WaitTimer("hold", self._share))
            self._apply((sensor, "between"))
            self._add(Wait(self._telling_rest_us()))
            self._apply((sensor, "clear"))
            self._release()

    def _losses_in_the_hold(self) -> None:
        if self._ways and self.parameters.rules.hold_when_lost is None:
            self.left_out.append("a sensor lost in the hold: hold_when_lost is not stated")
            return
        for number, way in enumerate(self._ways):
            self._begin_hold()
            self._part = f"Sensor lost in the hold: {said(way)}"
            self._add(WaitTimer("hold", self._share))
            self._apply(*way)
            self._add(WaitTimer("loss"))
            if number == 0:
                self._part = "And still lost when the hold would be over"
                self._add(WaitTimer("hold"))
            self._part = "The sensor is back"
            self._apply(*good_again(way))
            self._add(WaitTimer("return"))
            if number or self.parameters.rules.hold_when_lost != "run":  # else it is over already
                self._add(WaitTimer("hold"))
                self._add(Wait(self._longest_return_us()))
            if not self._latches:
                self._late(Mode.NORMAL, LATE_HOLD_US)
            self._reset_if_latched()

    def _reset_if_latched(self) -> None:
        if self._latches:
            self._reset()

    def _reset(self) -> None:
        button = self.parameters.button
        if button is not None and not self._button_has_reset:
            for why, pressing in just_too_little(button, "reset"):
                self._part = f"Button: {why} for a reset"
                self._press(pressing)
        super()._reset()

    # Supply.

    def _cut_here(self, reading: Iterable[tuple[str, str]]) -> None:
        """Off for longer than any dip, and back with the sensors as `reading` says; the calls stay."""
        self._off_and_on(0, reading)
        self._warm_up()

    def _reading(self, leaking: str = "") -> list[tuple[str, str]]:
        return [(s, "leak" if s == leaking else "clear") for s in self.sensors]

    def _cuts_in_mitigation(self) -> None:
        if self.parameters.rules.after_supply_loss is None:
            self.left_out.append("the supply cut in leak and hold: after_supply_loss is not stated")
            return
        trip_us = past_us(self.parameters, "trip")
        self._leak()
        self._part = "Supply cut in the leak"
        self._cut_here(self._reading(self.sensors[0]))
        self._add(Wait(trip_us or LONGEST_WAIT_US["trip"]))  # where the leak is forgotten it trips anew
        self._lost_in_leak = False
        self._clear()
        self._part = "Supply cut in the hold"
        self._add(WaitTimer("hold", self._share))
        self._cut_here(self._reading())
        # A full hold would count from the supply.
        self._add(Wait(past_us(self.parameters, "hold") or LONGEST_WAIT_US["hold"]))
        self._release()

    def _cuts(self) -> None:
        boot, warm_up = self.parameters.timing.boot, self.parameters.timing.warm_up
        follow_us = (past_us(self.parameters, "follow") or 0) + _MOVING_US
        self._power_up_with_calls()
        self._part = "Supply cut in the start-up"
        self._off_and_on(0, self._reading())
        self._add(WaitTimer("warm_up", 0.5))
        self._cut_here(self._reading())
        self._part = "Combinations of calls in the start-up"
        if boot.max_us + follow_us * len(self._changes()) > warm_up.min_us * 9 // 10:
            self.left_out.append("combinations of calls in the start-up: the warm-up is too short for it")
            self._part = ""
            return
        self._off_and_on(0, self._reading())
        self._add(WaitTimer("boot"))
        self._walk()
        self._warm_up()

    # Sensor loss.

    def _one_loss_that_lasts(self) -> None:
        """A fault that this bench cannot reset: nothing after it would be what it is on a board without one."""
        if self._ways:
            self._lose(self._ways[0])
            self._walk()
            self._come_back(self._ways[0])
            self.left_out.append(
                "more than one sensor loss: the fault may latch, and nothing is stated that resets it"
            )

    def _losses(self) -> None:
        for number, way in enumerate(self._ways):
            self._lose(way)
            if number == 0:
                self._walk()
            if self._latches:
                self._cut_too_short_to_reset(way)
            else:
                self._part = f"Return broken off: {said(way)}"
                self._broken("return", self.parameters.timing.return_, good_again(way), way)
                self._part = f"Supply cut in the sensor fault: {said(way)}"
                self._cut_here([(s, dict(way).get(s, "clear")) for s in self.sensors])
                self._add(WaitTimer("loss"))
                self._add(Wait(past_us(self.parameters, "loss") or 0))  # counted from the supply
            self._come_back(way)

    def _cut_too_short_to_reset(self, way: Settings) -> None:
        reset_us = self.parameters.rules.reset_supply_off_us
        if reset_us is None or self._off_us(0) + 2 * _MOVING_US > reset_us * 9 // 10:
            self.left_out.append(
                "a supply cut too short to reset a latched fault: "
                + ("no reset is stated" if reset_us is None else "shorter is taken for a dip on this bench")
            )
            return
        self._part = f"Supply cut too short to reset: {said(way)}"
        self._apply(*good_again(way))
        self._add(WaitTimer("return"))
        self._cut_here(self._reading())

    def _leak_in_fault(self) -> None:
        if not self._ways:
            return
        way = self._ways[0]
        self._lose(way)
        self._part = "Leak in the sensor fault"
        leaking = way[0][0]
        self._apply(*((s, "leak" if s == leaking else "clear") for s, _ in way))
        self._add(WaitTimer("trip"))
        self._add(Wait(self._longest_return_us()))  # the trip may begin as late as the return
        self._part = "Hold and release"
        self._apply((leaking, "clear"))
        self._add(WaitTimer("hold"))
        if not self._latches:  # else it is back in the fault
            self._late(Mode.NORMAL, LATE_HOLD_US)
        self._reset_if_latched()

    def _loss_in_a_leak_of_its_own(self, way: Settings) -> None:
        """Where a loss during a leak may latch, the hold after it could not be told from a fault."""
        self._leak()
        self._part = f"Sensor lost during a leak: {said(way)}"
        self._apply(*way)
        self._add(WaitTimer("loss"))
        self._part = "Until nothing is left to remember"
        self._apply(*self._reading())
        self._add(WaitTimer("hold"))
        self._add(Wait(self._longest_return_us()))
        self._reset_if_latched()

    def _say_what_no_board_shows(self) -> None:
        ride = self.parameters.timing.ride_through
        if ride is None:
            self.left_out.append("a dip in the supply that is ridden through: ride_through is not stated")
        elif ride.min_us < _SHORTEST_DIP_US:
            self.left_out.append(
                f"a dip in the supply that is ridden through: from {say_us(ride.min_us)} on the board may restart, "
                "and the fixture's switch cannot be closed again so soon"
            )
        contacts = [s.name for s in self.parameters.sensors if s.kind == "contact"]
        if contacts:
            self.left_out.append(f"the loss of sensor {', '.join(contacts)}: a plain contact cannot be lost")
        if len(contacts) < len(self.parameters.sensors) and not self._ways:
            self.left_out.append("the loss of a sensor: the profile names no way to be lost")
        if not self._between:
            self.left_out.append("levels between the bands: no sensor is analog")
