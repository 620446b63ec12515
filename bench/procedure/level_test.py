"""`levels`: a rising and a falling staircase find where the board trips and clears.

Both stand in one leak, with what else must be proven around them, so that the
whole costs little more than one hold.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from bench.judge.level_answers import Answer, to_clear, to_trip
from bench.procedure.short import least_share
from bench.procedure.staircase import (
    ALLOWED_US,
    Staircase,
    coarsest_uv,
    each_us,
    finest_uv,
    staircase,
)
from bench.procedure.steps import Procedure, Stairs, Wait, WaitTimer
from bench.procedure.timers import LONGEST_WAIT_US, past_us
from bench.procedure.words import say_us
from bench.procedure.writer import LATE_HOLD_US, Writer
from bench.profile.quantities import format_voltage
from firmware_ref.parameters import Mode, Parameters, Sensor

ABOUT = "at which level the board trips and clears, by a rising and a falling staircase, and what else must be proven"


def levels(parameters: Parameters) -> Procedure:
    """The level test of every analog sensor of this board."""
    writer = _Levels(parameters)
    writer.write()
    return Procedure("levels", ABOUT, tuple(writer.steps), left_out=writer.not_gone_through())


class LevelWriter(Writer):
    """Writes the two staircases of a sensor, for whichever procedure has them."""

    def _up(self, sensor: Sensor, channel: str) -> None:
        """From clear up to where the board trips."""
        self._part = f"Rising levels, {channel}"
        self._set(self._telling_calls(Mode.LEAK_ACTIVE), following=True)
        self._rise(sensor, channel)

    def _down(self, sensor: Sensor, channel: str) -> None:
        """From a leak down to where it clears, and on until the release."""
        self._apply((channel, "leak"))
        self._add(WaitTimer("trip"))
        self._part = f"Falling levels, {channel}"
        self._fall(sensor, channel)
        self._part = "The whole hold and the release"
        self._until_released()

    def _rise(self, sensor: Sensor, channel: str) -> None:
        answers = to_trip(self.parameters)
        if sensor.trip is None or not answers:
            if sensor.trip is not None:
                self.left_out.append(
                    f"the trip level of sensor {sensor.name}: no trip time is stated, so no step can be told from the next"
                )
            self._apply((channel, "leak"))
        else:
            slowest = max(answers, key=each_us)
            found = staircase(sensor, sensor.trip, slowest, True, finest_uv(sensor, sensor.trip))
            self._stairs(channel, found)
        self._add(WaitTimer("trip"))

    def _fall(self, sensor: Sensor, channel: str) -> None:
        found = self._falling(sensor)
        if found is not None:
            self._stairs(channel, found)
        if found is None or not self._by_release():
            self._apply((channel, "clear"))

    def _by_release(self) -> bool:
        answer = to_clear(self.parameters)
        return answer is not None and answer.by_release

    def _falling(self, sensor: Sensor) -> Staircase | None:
        """Downwards in the time allowed, as fine as that lets it; None, and why, where it does not."""
        if sensor.clear is None:
            return None
        answer = to_clear(self.parameters)
        if answer is None:
            self.left_out.append(
                f"the clear level of sensor {sensor.name}: nothing moves when it is reached, and clear or hold is not "
                "stated, so no step can be told from the next"
            )
            return None
        finest, coarsest = finest_uv(sensor, sensor.clear), coarsest_uv(sensor, sensor.clear)
        for step_uv in (finest, max(finest, coarsest)):
            found = staircase(sensor, sensor.clear, answer, False, step_uv)
            needed_us = found.band_us + answer.span.max_us
            if needed_us <= ALLOWED_US:
                return self._while_held(found, answer)
        self.left_out.append(
            f"the clear level of sensor {sensor.name}: not measurable in the allowed time of {say_us(ALLOWED_US)}: each of "
            f"{found.decided} steps must stand {say_us(found.each_us)}, which with the hold takes {say_us(needed_us)}"
        )
        return None

    def _while_held(self, found: Staircase, answer: Answer) -> Staircase:
        """Below the band only as long as a hold runs anyway: a board inside its limits loses no time by it."""
        most = found.decided
        if answer.by_release:
            most = max(most, answer.span.min_us // found.each_us)
        return Staircase(found.levels_uv[:most], found.each_us, found.decided)

    def _stairs(self, channel: str, found: Staircase) -> None:
        levels: Sequence[str] = tuple(map(format_voltage, found.levels_uv))
        self._add(Stairs(channel, tuple(levels), found.each_us))

    def _until_released(self) -> None:
        """Until every output is where normal has it: a release that the staircase saw is not waited for again."""
        past = past_us(self.parameters, "hold")
        most_us = LONGEST_WAIT_US["hold"] if past is None else past + LATE_HOLD_US
        self._late(Mode.NORMAL, most_us)
        self._add(Wait(past_us(self.parameters, "react") or 0))
        if self._restarts_after("release"):
            self._add(WaitTimer("restart"))


class _Levels(LevelWriter):
    def write(self) -> None:
        self._power_up()
        self._calls_alone()
        for number, sensor in enumerate(self.parameters.sensors):
            if sensor.kind != "analog":
                why = "has none" if sensor.trip is None else "is not taken through steps"
                self.left_out.append(f"the levels of sensor {sensor.name}: a {sensor.kind} sensor {why}")
                sensor = replace(sensor, trip=None, clear=None)
            if sensor.kind == "analog" or number == 0:
                self._one(sensor, number == 0)
        if self._by_stairs_only():
            self._leak_at_once(f"sensor.{self.parameters.sensors[0].name}")
        if self._ways:
            self._lose(self._ways[0])
            self._come_back(self._ways[0])

    def _by_stairs_only(self) -> bool:
        """Whether how late a trip and how long a hold may be was not seen yet.

        Of an answer to stairs it is not known which step it answers, so nothing limits it upwards.
        """
        names = {item.partition(":")[0] for item in self.parameters.must_prove}
        first = self.parameters.sensors[0]
        return first.kind == "analog" and bool(to_trip(self.parameters)) and bool(names & {"trip", "hold"})

    def _leak_at_once(self, channel: str) -> None:
        """A leak without stairs, which the longest trip and hold can be judged by."""
        self._part = f"Leak at once, {channel}"
        self._set(self._telling_calls(Mode.LEAK_ACTIVE), following=True)
        self._apply((channel, "leak"))
        self._add(WaitTimer("trip"))
        self._part = "The hold and the release after it"
        self._apply((channel, "clear"))
        self._until_released()

    def _one(self, sensor: Sensor, first: bool) -> None:
        """One sensor's levels, and with the first what else must be proven of a leak."""
        channel = f"sensor.{sensor.name}"
        self._up(sensor, channel)
        if first:
            self._walk()
            self._part = "Hold"
            self._apply((channel, "clear"))
            self._add(WaitTimer("clear"))
            self._walk()
            self._part = "Second leak in the hold"
            self._add(WaitTimer("hold", least_share(self.parameters)))
        self._down(sensor, channel)
