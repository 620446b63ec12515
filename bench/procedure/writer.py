"""What the built-in procedures are written with: stimuli and waits, and which calls are on meanwhile."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from bench.judge.bounds import expected_bound_us
from bench.judge.conditions import crossed
from bench.judge.flashes import Lengths
from bench.judge.level_answers import reads
from bench.procedure.levels import signal
from bench.procedure.pressing import Pressing
from bench.procedure.steps import Apply, Doing, Gesture, Presses, Require, Step, Until, Wait, WaitTimer
from bench.procedure.timers import LONGEST_WAIT_US
from bench.procedure.words import output_channel
from firmware_ref.parameters import Condition, Mode, Parameters, Policy

#: How long the supply is cut where the profile does not say what resets a latched fault; ours.
_ASSUMED_RESET_US = 30_000_000
#: How long an answer that is overdue is waited for, so that it can be measured; ours.
LATE_US = 20_000_000
LATE_HOLD_US = 60_000_000
#: Where the ride-through is not stated it is taken to be over by then; ours.
LONGEST_RIDE_US = 5_000_000
#: A cut below this might count as a dip; from 1 s on the sensor is taken off the board.
SHORTEST_CUT_US = 2_000_000
#: The source must be up this soon before anything is closed.
SOURCE_WITHIN_US = 1_000_000

#: How long a light whose times are not stated is looked at: a group, and until a code begins; ours.
LONGEST_GROUP_US = 6_000_000
LONGEST_LATENCY_US = 5_000_000

#: With more calls than this not every combination of them is gone through: each more would double the time.
MANY_CALLS = 4

#: Channels and what each is brought to, as words.
Settings = tuple[tuple[str, str], ...]


class Writer:
    """Writes steps down and remembers which calls are on.

    Which calls are on is chosen so that every output has something to answer.
    """

    def __init__(self, parameters: Parameters) -> None:
        self.parameters = parameters
        self.sensors = [f"sensor.{s.name}" for s in parameters.sensors]
        self.calls = dict.fromkeys(parameters.calls, False)
        self.steps: list[Step] = []
        #: What this board or this bench cannot show, and why.
        self.left_out: list[str] = []
        #: Whether a sensor-fault may latch.
        self._latches = parameters.rules.latching is not False
        #: First those during which a board cannot take the way out of a leak for its end.
        self._ways = sorted(self._ways_of_loss(), key=self._crosses_clear)
        bound = {} if parameters.button is None else parameters.button.gestures
        self._reset_by_button = "reset" in bound
        self._reset_by_supply = parameters.rules.reset_supply_off_us is not None
        self._button_has_reset = False
        self._has_cut = False
        self._part = ""
        self._lost_in_leak = False
        #: Modes in which the light has been waited for; in those of the procedure that do not matter it never is.
        self._lit: set[Mode] = set() if self._looks_at_light() else set(Mode)

    def _looks_at_light(self) -> bool:
        """Whether modes must last until the light can be read."""
        return self.parameters.light is not None

    # Parts that several procedures have.

    def _power_up(self) -> None:
        self._part = "Power-up"
        self._add(Require((("sense.main", "on"),), SOURCE_WITHIN_US))
        self._apply(*((s, "clear") for s in self.sensors))
        self._apply(("board", "closed"), ("main", "closed"))
        self._warm_up()
        self._read_light(Mode.NORMAL)

    def _calls_alone(self, *calls: str) -> None:
        """One after the other; all of them where none is named."""
        self._part = "Each call alone"
        for call in calls or self.calls:
            self._set({call: True}, following=True)
            self._set({call: False}, following=True)

    def _after_return(self) -> None:
        if self._latches:
            self._reset()
            return
        events = {"return"}
        if self.parameters.rules.after_fault == "hold":
            events.add("release")
            hold = self.parameters.timing.hold
            most = (
                LONGEST_WAIT_US["hold"] if hold is None else hold.max_us + 2 * expected_bound_us(hold.max_us)
            )
            self._add(Until((("outputs", "change"),), most))
            self._add(WaitTimer("react"))
        if any(map(self._restarts_after, events)):
            self._add(WaitTimer("restart"))

    def _leak(self) -> None:
        self._part = "Leak"
        self._set(self._telling_calls(Mode.LEAK_ACTIVE), following=True)
        self._trip(self.sensors[0])

    def _trip(self, sensor: str) -> None:
        self._apply((sensor, "leak"))
        self._add(WaitTimer("trip"))
        self._late(Mode.LEAK_ACTIVE, LATE_US)
        self._read_light(Mode.LEAK_ACTIVE)

    def _lose_in_leak(self, loss: Settings) -> None:
        """In the leak of the first sensor, and back to it."""
        self._part = f"Sensor lost during a leak: {said(loss)}"
        self._apply(*loss)
        self._add(WaitTimer("loss"))
        self._apply(*((sensor, "leak" if sensor == self.sensors[0] else "clear") for sensor, _ in loss))
        self._add(WaitTimer("return"))
        self._lost_in_leak = True

    def _lose(self, loss: Settings) -> None:
        self._part = f"Sensor loss: {said(loss)}"
        self._set(self._telling_calls(Mode.SENSOR_FAULT), following=True)
        self._apply(*loss)
        self._add(WaitTimer("loss"))
        self._late(Mode.SENSOR_FAULT, LATE_US)
        self._read_light(Mode.SENSOR_FAULT)

    def _come_back(self, loss: Settings) -> None:
        self._apply(*good_again(loss))
        self._add(WaitTimer("return"))
        self._after_return()

    def _clear(self) -> None:
        """The first leak ends, and the hold surely begins."""
        self._part = "Hold"
        self._apply((self.sensors[0], "clear"))
        self._add(WaitTimer("clear"))
        if self._lost_in_leak:  # the clear may begin as late as the return would
            self._add(Wait(self._longest_return_us()))

    def _release(self) -> None:
        self._add(WaitTimer("hold"))
        self._late(Mode.NORMAL, LATE_HOLD_US)
        if self._restarts_after("release"):
            self._add(WaitTimer("restart"))

    def _power_up_with_calls(self) -> None:
        """Not at the start, where a fault of one output would show as another one's than on a call."""
        self._part = "Power-up with calls on"
        self._cut_supply(0)

    def _cut_supply(self, least_us: int) -> None:
        """Off for longer than that, with calls on, until the board is ready again."""
        self._has_cut = True
        self._set(self._telling_calls(Mode.START_UP), following=True)
        self._off_and_on(least_us, [(s, "clear") for s in self._driven()])
        self._warm_up()

    def _reset(self) -> None:
        """Of a latched fault whose sensor is good again: by the button once, and wherever nothing else resets it."""
        if self._reset_by_button and not (self._button_has_reset and self._reset_by_supply):
            self._part = "Reset by the button"
            self._make("reset")
            self._late(Mode.NORMAL, LATE_US)
            self._button_has_reset = True
            if self._restarts_after("return"):
                self._add(WaitTimer("restart"))
            return
        self._part = "Reset by cutting the supply"
        self._cut_supply(self._reset_us())

    @property
    def _cannot_reset(self) -> bool:
        """Whether a fault that may latch would stay."""
        return self._latches and not self._reset_by_supply and not self._reset_by_button

    def _make(self, action: str) -> None:
        """The gesture for an action, and until it must have been answered."""
        self._add(Gesture(action))
        self._add(WaitTimer("button"))

    def _press(self, pressing: Pressing) -> None:
        self._add(Presses(*pressing))
        self._add(WaitTimer("button"))

    def _read_light(self, mode: Mode) -> None:
        """Wait until the light of a mode that the board is surely in can be told from a wrong one, once.

        A hold lasts long enough by itself.
        """
        light = self.parameters.light
        code = None if light is None or mode in self._lit else light.codes[mode]
        if light is None or code is None:
            return
        self._lit.add(mode)
        longest_us = Lengths(light).longest_us(code) or LONGEST_GROUP_US
        latency_us = LONGEST_LATENCY_US if light.latency is None else light.latency.max_us
        # The group before may be in the way, then two must be seen whole.
        self._add(Wait(latency_us + 4 * longest_us, "until the light can be told from a wrong one"))

    # What the parts are made of.

    def _driven(self) -> list[str]:
        """The sensors whose signal is a voltage of the bench."""
        return [f"sensor.{s.name}" for s in self.parameters.sensors if s.kind == "analog"]

    def _off(self, least_us: int) -> None:
        """No supply for longer than that; no signal is driven into the board meanwhile."""
        self._apply(("main", "open"), *((s, "open") for s in self._driven()))
        self._add(Wait(self._off_us(least_us)))

    def _off_and_on(self, least_us: int, reading: Iterable[tuple[str, str]]) -> None:
        """The supply comes back with the sensors as `reading` says."""
        self._off(least_us)
        self._apply(*reading, ("main", "closed"))

    def _reset_us(self) -> int:
        return self.parameters.rules.reset_supply_off_us or _ASSUMED_RESET_US

    def _off_us(self, least_us: int) -> int:
        """How long the supply is cut so that it surely is off for `least_us` and no dip."""
        ride = self.parameters.timing.ride_through
        off_us = max(least_us + (LONGEST_RIDE_US if ride is None else ride.max_us), SHORTEST_CUT_US)
        return off_us + 2 * expected_bound_us(off_us)

    def _longest_return_us(self) -> int:
        back = self.parameters.timing.return_
        return LONGEST_WAIT_US["return"] if back is None else back.max_us

    def _add(self, doing: Doing) -> None:
        self.steps.append(Step(doing, self._part))
        self._part = ""

    def _apply(self, *settings: tuple[str, str]) -> None:
        self._add(Apply(settings))

    def _warm_up(self) -> None:
        self._add(WaitTimer("warm_up"))
        if self._restarts_after("power-up"):
            self._add(WaitTimer("restart"))

    def _late(self, mode: Mode, at_most_us: int) -> None:
        """Give a board that is late some time, so that it can be said how late; a good one costs none."""
        levels = [
            (output_channel(output.name), output.reading(reads(output, mode, self.calls)))
            for output in self.parameters.outputs
        ]
        self._add(Until(tuple(levels), at_most_us))

    def _set(self, wanted: Mapping[str, bool], following: bool) -> None:
        """Bring calls to what is wanted and wait until each output has answered."""
        changes = {call: on for call, on in wanted.items() if self.calls[call] != on}
        if not changes:
            return
        self.calls.update(changes)
        self._apply(*((f"call.{call}", "on" if on else "off") for call, on in changes.items()))
        if following and any(changes.values()) and self._restarts_after("any-off"):
            self._add(WaitTimer("restart"))
        self._add(WaitTimer("follow"))

    def _walk(self, following: bool = False) -> None:
        """The calls through their combinations, one changing at a time, and back to where they began."""
        if len(self.calls) > MANY_CALLS:
            self.left_out.append(
                f"every combination of the {len(self.calls)} calls: each changes by itself, "
                "the others as they stand in that mode and the other way round"
            )
        for call in self._changes():
            self._set({call: not self.calls[call]}, following)

    def not_gone_through(self) -> tuple[str, ...]:
        """`left_out`, each reason once."""
        return tuple(dict.fromkeys(self.left_out))

    def _changes(self) -> list[str]:
        """The calls in the order in which they change: through every combination; of many calls each by itself, from
        how they all stand and from the opposite.

        The first call changes least often: it is the compressor's.
        """
        names = list(reversed(self.calls))
        if len(names) <= MANY_CALLS:  # Gray code
            bits = [(count & -count).bit_length() - 1 for count in range(1, 2 ** len(names) + 1)]
            return [names[min(bit, len(names) - 1)] for bit in bits]
        alone = [call for call in names for _ in ("there", "back")]
        return [*alone, *names, *alone, *names]

    def _telling_calls(self, mode: Mode) -> dict[str, bool]:
        """The calls with which every output has to move, or could wrongly move, on entering `mode`."""
        wanted: dict[str, bool] = {}
        for output in self.parameters.outputs:
            if output.call is not None:
                wanted.setdefault(output.call, output.modes[mode] is not Policy.ON)
        return wanted

    def _ways_of_loss(self) -> list[Settings]:
        """Each way, one sensor after the other; all at once where the board only minds losing all."""
        ways = [(f"sensor.{s.name}", way) for s in self.parameters.sensors for way in sorted(s.lost_by)]
        if self.parameters.rules.lost_when != "all":
            return [(one,) for one in ways]
        kinds = sorted({way for _, way in ways})
        return [tuple(one for one in ways if one[1] == kind) for kind in kinds]

    def _crosses_clear(self, way: Settings) -> bool:
        """Whether a sensor that goes this way in a leak crosses what the board may take for clear."""
        words = dict(way)
        lost = [
            (s, words[f"sensor.{s.name}"]) for s in self.parameters.sensors if f"sensor.{s.name}" in words
        ]
        return any(
            Condition.LOW in crossed(self.parameters, sensor, signal(sensor, "leak"), signal(sensor, word))
            for sensor, word in lost
        )

    def _restarts_after(self, event: str) -> bool:
        """Whether an output may stay off for its restart time now; after a release that of `any-off` is long over."""
        events = {event} if event == "release" else {event, "any-off"}
        return any(o.restart and events & o.restart.after for o in self.parameters.outputs)


def good_again(loss: Settings) -> Settings:
    """The sensors of a way of loss, clear."""
    return tuple((sensor, "clear") for sensor, _ in loss)


def said(loss: Settings) -> str:
    """A way of loss in words: `sensor.1 open, sensor.2 open`."""
    return ", ".join(f"{sensor} {way}" for sensor, way in loss)
