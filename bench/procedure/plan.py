"""Steps made exact for one board on this bench: microseconds, microvolts, and a sentence for the person.

All mistakes of a procedure are found here, before anything is energised.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, field, replace
from typing import Union

from bench.errors import ProcedureError
from bench.judge.bounds import SIGNAL_BOUND_UV
from bench.procedure.levels import moves, signal
from bench.procedure.pressing import surely
from bench.procedure.steps import (
    Apply,
    Doing,
    Gesture,
    Presses,
    Procedure,
    Prompt,
    Require,
    Stairs,
    Step,
    Sweep,
    Until,
    Wait,
    WaitTimer,
)
from bench.procedure.timers import ASSUMED_US, LONGEST_WAIT_US, STARTED_BY, past_us, span
from bench.procedure.words import (
    LONGEST_PRESS_US,
    SHORTEST_PRESS_US,
    level_words,
    output_channel,
    say_level,
    say_us,
)
from bench.trace.records import Value, Voltage
from firmware_ref.parameters import Parameters

#: A sweep is made of steps this long, or of one bound of the signal, whichever is longer.
SWEEP_STEP_US = 250_000
#: `outputs: change` in an `until`.
ANY_OUTPUT = ("outputs", "change")


@dataclass(frozen=True, slots=True)
class Move:
    """Bring channels to values, one after the other, each read back."""

    moves: tuple[tuple[str, Value], ...]


@dataclass(frozen=True, slots=True)
class Push:
    """Press the service button `count` times for `span_us`, with `gap_us` between."""

    count: int
    span_us: int
    gap_us: int


@dataclass(frozen=True, slots=True)
class Climb:
    """Bring a sensor's signal to one value after the other, each for `each_us`, until any output has changed."""

    channel: str
    values: tuple[Voltage, ...]
    each_us: int


@dataclass(frozen=True, slots=True)
class Pause:
    """Wait until `us` after the last stimulus of kind `since` (`supply`, `sensor`, `call`, `button`; `now`: from here).

    `surely`: whatever the rate of the fixture's clock may be.
    """

    us: int
    since: str = "now"
    surely: bool = False


@dataclass(frozen=True, slots=True)
class Watch:
    """Wait until the levels read so (none: until any output changes), at most `at_most_us`."""

    levels: tuple[tuple[str, str], ...]
    at_most_us: int


@dataclass(frozen=True, slots=True)
class Demand:
    """The bench must read so within `within_us`."""

    levels: tuple[tuple[str, str], ...]
    within_us: int


@dataclass(frozen=True, slots=True)
class Ask:
    """The person does something and says so."""

    text: str


Action = Union[Move, Climb, Push, Pause, Watch, Demand, Ask]


@dataclass(frozen=True, slots=True)
class Planned:
    """One step as it will be carried out; `text` says it to the person."""

    text: str
    actions: tuple[Action, ...]
    part: str = ""


def plan(
    procedure: Procedure, parameters: Parameters, signal_bound_uv: int = SIGNAL_BOUND_UV
) -> tuple[Planned, ...]:
    """The procedure for one board.

    Raises ProcedureError, one line for each step that does not fit the board
    or the bench.
    """
    planner = _Planner(parameters, signal_bound_uv)
    done: list[Planned] = []
    wrong: list[str] = []
    for number, step in enumerate(procedure.steps, 1):
        try:
            done.append(planner.step(step))
        except ValueError as e:
            wrong.append(f"{step.where or f'{procedure.name}: step {number}'}: {e}")
    if wrong:
        raise ProcedureError("\n".join(dict.fromkeys(wrong)))
    return tuple(done)


@dataclass(slots=True)
class _Planner:
    parameters: Parameters
    bound_uv: int
    _sensor_uv: dict[str, int] = field(default_factory=dict)

    def step(self, step: Step) -> Planned:
        text, actions = self._do(step.doing)
        return Planned(text, tuple(actions), step.part)

    def _do(self, doing: Doing) -> tuple[str, Sequence[Action]]:
        if isinstance(doing, Apply):
            values = [self._values(ch, word) for ch, word in doing.settings]
            said = (
                f"{ch} {say_level(self.parameters, ch, w, found[0][1])}"
                for (ch, w), found in zip(doing.settings, values, strict=True)
            )
            return ", ".join(said), [Move(tuple(move for found in values for move in found))]
        if isinstance(doing, Sweep):
            return self._sweep(doing)
        if isinstance(doing, Gesture):
            return self._gesture(doing.action)
        if isinstance(doing, Presses):
            return self._presses("the button", doing.count, doing.us)
        if isinstance(doing, Stairs):
            return self._stairs(doing)
        if isinstance(doing, Wait):
            why = f": {doing.why}" if doing.why else ""
            return f"wait {say_us(doing.us)}{why}", [Pause(doing.us)]
        if isinstance(doing, WaitTimer):
            return self._wait_timer(doing)
        if isinstance(doing, Until):
            return self._until(doing)
        if isinstance(doing, Require):
            self._check_levels(doing.levels, ("sense.main", "sense.board"), "the bench's own channels")
            said_levels = " and ".join(f"{ch} {level}" for ch, level in doing.levels)
            return f"bench: {said_levels} within {say_us(doing.within_us)}", [
                Demand(doing.levels, doing.within_us)
            ]
        assert isinstance(doing, Prompt)
        return f"ask: {doing.text}", [Ask(doing.text)]

    def _values(self, channel: str, word: str) -> tuple[tuple[str, Value], ...]:
        """What a word brings about; a sensor with a trouble contact has two channels."""
        value = self._value(channel, word)
        sensor = next((s for s in self.parameters.sensors if f"sensor.{s.name}" == channel), None)
        return ((channel, value),) if sensor is None else moves(sensor, word, self.bound_uv)

    def _value(self, channel: str, word: str) -> Value:
        if not channel.startswith("sensor."):
            allowed = self._switches()
            if channel not in allowed:
                raise ValueError(
                    f"{channel}: this board has no such stimulus; write one of {', '.join(self._stimuli())}"
                )
            values = level_words(channel)
            if word not in values:
                raise ValueError(f"{channel}: {word!r} is no position; write {' or '.join(values)}")
            return word
        value = self._signal(channel, word)
        self._sensor_uv.pop(channel, None)
        if isinstance(value, Voltage):
            self._sensor_uv[channel] = value.value_uv
        return value

    def _signal(self, channel: str, word: str) -> Value:
        sensor = next((s for s in self.parameters.sensors if f"sensor.{s.name}" == channel), None)
        if sensor is None:
            raise ValueError(
                f"{channel}: this board has no such sensor; write one of {', '.join(self._stimuli())}"
            )
        try:
            return signal(sensor, word, self.bound_uv)
        except ValueError as e:
            raise ValueError(f"{channel}: {e}") from None

    def _sweep(self, sweep: Sweep) -> tuple[str, Sequence[Action]]:
        start_uv = self._sensor_uv.get(sweep.channel)
        value = self._value(sweep.channel, sweep.to)
        if not isinstance(value, Voltage):
            raise ValueError(
                f"{sweep.channel}: a ramp goes to a quantity, clear, between or leak of an analog or modbus sensor"
            )
        if start_uv is None:
            raise ValueError(
                f"{sweep.channel}: a ramp starts from a known signal; write a step `{sweep.channel}: clear` before it"
            )
        distance_uv = value.value_uv - start_uv
        count = max(1, min(sweep.over_us // SWEEP_STEP_US, abs(distance_uv) // max(1, value.bound_uv)))
        actions: list[Action] = []
        for i in range(1, count + 1):
            actions.append(Pause(sweep.over_us * i // count - sweep.over_us * (i - 1) // count))
            level = replace(value, value_uv=start_uv + distance_uv * i // count)
            actions.append(Move(((sweep.channel, level),)))
        target = say_level(self.parameters, sweep.channel, sweep.to, value)
        return f"{sweep.channel} to {target} over {say_us(sweep.over_us)}, in {count} steps", actions

    def _gesture(self, action: str) -> tuple[str, Sequence[Action]]:
        button = self.parameters.button
        bound = {} if button is None else button.gestures
        if button is None or action not in bound:
            has = f"its gestures are {', '.join(bound)}" if bound else "it has no service button"
            raise ValueError(f"button: {action} is no gesture of this board; {has}")
        count, us = surely(button, action)
        return self._presses(f"the button for {action}", count, us)

    def _presses(self, what: str, count: int, us: int) -> tuple[str, Sequence[Action]]:
        if self.parameters.button is None:
            raise ValueError("button: this board has no service button; write its keys into the profile")
        each_us = us // (2 * count - 1)
        if not SHORTEST_PRESS_US <= each_us <= LONGEST_PRESS_US:
            raise ValueError(
                f"button: {count} press{'es' if count > 1 else ''} in {say_us(us)} would last {say_us(each_us)} each; "
                f"the bench presses for {say_us(SHORTEST_PRESS_US)} to {say_us(LONGEST_PRESS_US)}"
            )
        how = f"for {say_us(us)}" if count == 1 else f"{count} times in {say_us(us)}"
        return f"press {what} {how}", [Push(count, each_us, each_us if count > 1 else 0)]

    def _stairs(self, stairs: Stairs) -> tuple[str, Sequence[Action]]:
        values = []
        for level in stairs.levels:
            value = self._value(stairs.channel, level)
            if not isinstance(value, Voltage):
                raise ValueError(
                    f"{stairs.channel}: stairs go through levels of an analog sensor, as in 18 %LFL"
                )
            values.append(value)
        ends = " to ".join(
            say_level(self.parameters, stairs.channel, "", values[i]).strip(" ()") for i in (0, -1)
        )
        text = f"{stairs.channel} in {len(values)} steps from {ends}, each {say_us(stairs.each_us)}"
        return f"{text}, until an output changes", [Climb(stairs.channel, tuple(values), stairs.each_us)]

    def _wait_timer(self, wait: WaitTimer) -> tuple[str, Sequence[Action]]:
        if wait.timer not in STARTED_BY:
            raise ValueError(f"wait: {wait.timer!r} is no timer; write one of {', '.join(STARTED_BY)}")
        since = STARTED_BY[wait.timer]
        after = f" after {_STARTED[since]}" if since in _STARTED else " from now"
        found = span(self.parameters, wait.timer)
        name = wait.timer.replace("_", "-")
        if found is None:
            return self._wait_unstated(wait, name)
        if wait.share is None:
            us = past_us(self.parameters, wait.timer) or 0
            return f"wait until {say_us(us)}{after}: past the longest {name}", [Pause(us, since, surely=True)]
        us = round(found.min_us * wait.share)
        return f"wait until {say_us(us)}{after}: {wait.share:g} of the shortest {name}", [Pause(us, since)]

    def _wait_unstated(self, wait: WaitTimer, name: str) -> tuple[str, Sequence[Action]]:
        share = 1.0 if wait.share is None else wait.share
        whole_us = LONGEST_WAIT_US[wait.timer] if wait.share is None else ASSUMED_US[wait.timer]
        us = round(whole_us * share)
        settle = past_us(self.parameters, "react") or 0
        text = f"{name} is not stated: wait until an output changes, at most {say_us(us)}"
        return text, [Watch((), us), Pause(settle)]

    def _until(self, until: Until) -> tuple[str, Sequence[Action]]:
        if until.levels == (ANY_OUTPUT,):
            return f"wait until an output changes, at most {say_us(until.at_most_us)}", [
                Watch((), until.at_most_us)
            ]
        seen = [output_channel(o.name) for o in self.parameters.outputs]
        self._check_levels(
            until.levels, [*seen, "sense.board", "sense.main"], "what can be seen of this board"
        )
        said = " and ".join(f"{ch} {level}" for ch, level in until.levels)
        return f"wait until {said}, at most {say_us(until.at_most_us)}", [
            Watch(until.levels, until.at_most_us)
        ]

    def _check_levels(self, levels: Sequence[tuple[str, str]], channels: Collection[str], what: str) -> None:
        contacts = {output_channel(o.name) for o in self.parameters.outputs if o.kind.startswith("contact")}
        for ch, level in levels:
            if ch not in channels:
                raise ValueError(f"{ch}: write one of {what}: {', '.join(channels)}")
            values = ("open", "closed") if ch in contacts else ("on", "off")
            if level not in values:
                raise ValueError(f"{ch}: {level!r} cannot be read there; write {' or '.join(values)}")

    def _switches(self) -> list[str]:
        return ["main", "board", *(f"call.{c}" for c in self.parameters.calls)]

    def _stimuli(self) -> list[str]:
        button = ["button"] if self.parameters.button is not None else []
        return [*self._switches(), *button, *(f"sensor.{s.name}" for s in self.parameters.sensors)]


_STARTED = {
    "supply": "the supply came",
    "sensor": "the sensor changed",
    "call": "the call changed",
    "button": "the button was let go",
}
