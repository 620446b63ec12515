"""A leak-mitigation board in virtual time, as its firmware and its relays would have it.

The firmware is a scan loop, but a scan is carried out only where it can find
something to do: after an input, and where a timer is over.  So a quarter of an
hour costs a few milliseconds.  Nothing here is shared with the reference
machine or the judge; it is written from the words of the required behaviour.

Inputs come in order of time.  `advance` gives what the output terminals did.
Not modelled: the AC half cycles (the fixture sees those).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from typing import NamedTuple

from bench.simulated.button import ButtonProgram
from bench.simulated.channel import Channel
from bench.simulated.draw import Draw
from bench.simulated.faults import (
    SHIFTS,
    Fault,
    as_built,
    flaws_of,
    light_flaws_of,
    output_flaws_of,
    size_of,
    wrongs_of,
)  # fmt: skip
from bench.simulated.interlock import Interlock, outputs_of, travel_us
from bench.simulated.light import Indicator
from bench.simulated.logic import Logic
from bench.simulated.poller import Poller, allowing, learn_us
from bench.simulated.readings import InputFlaws, Readings
from bench.simulated.relay import OPERATE_US
from bench.simulated.traits import Spans, Traits
from bench.simulated.unruly import Chatter, Reboots
from firmware_ref.parameters import Mode, Parameters

_MICRO = 1_000_000


class TerminalChange(NamedTuple):
    """At `at_us` the terminal of output `name`, or the `light`, came on (energised, closed, lit) or went off."""

    at_us: int
    name: str
    on: bool


class Board:
    """One simulated board; times are us since the simulation began."""

    def __init__(
        self, parameters: Parameters, *, seed: int = 0, draw: str = "inside", faults: Sequence[Fault] = ()
    ) -> None:
        """`draw`: `inside`, `anywhere` or `nominal` (`bench.simulated.draw`); fixture faults are not for the board.

        Raises UsageError for a draw that does not exist.
        """
        self._faults = {f.name: f for f in faults}
        late_us = learn_us(parameters)
        flaws = flaws_of(faults, parameters).beyond(late_us)
        shifts = {f.name: size_of(f, parameters) / _MICRO for f in faults if f.name in SHIFTS}
        parameters = allowing(parameters, late_us)
        self._at = {(f.name, where) for f in faults for where in f.where}
        #: Terminals that are as they are, whatever their relay does.
        self._stuck = {
            where: f.name == "stuck-on"
            for f in faults if f.name in ("stuck-off", "stuck-on") for where in f.where
        }  # fmt: skip
        self._other = {a: b for f in faults if f.name == "crossed" for a, b in (f.where, f.where[::-1])}
        self._traits = Traits.draw(parameters, Draw(draw, seed, "traits"))
        self._spans = Spans.of(parameters)
        self._draw = Draw(draw, seed, "supply")
        self._readings = Readings(
            parameters, Draw(draw, seed, "levels"),
            each_sensor=self._traits.each_sensor, loss_breaks_low=self._traits.loss_breaks_low,
            flaws=InputFlaws(
                shifts,
                ignores_loss="loss-ignored" in self._faults, ignores_range="range-ignored" in self._faults,
                clears_between="clears-between" in self._faults,
                ignored=frozenset(
                    f"{f.where[0]}-trouble" if f.name == "trouble-ignored" else f.where[0]
                    for f in faults if f.name in ("sensor-ignored", "trouble-ignored")
                ),
            ),
        )  # fmt: skip
        self._logic = Logic(
            parameters, self._readings, self._traits, self._spans, Draw(draw, seed, "timers"),
            latency_us=OPERATE_US + self._traits.scan_us + travel_us(parameters), flaws=flaws,
        )  # fmt: skip
        self._channels = {
            o.name: Channel(
                as_built(o, faults), parameters, Draw(draw, seed, f"output {o.name}"),
                scan_us=self._traits.scan_us, slow_trip_us=flaws.slow_trip_us, flaws=output_flaws_of(faults, o.name),
            )
            for o in outputs_of(parameters)
        }  # fmt: skip
        overlap = self._faults.get("contacts-overlap")
        self._interlock = Interlock(
            parameters,
            self._channels,
            parameters.timing.glitch_us + size_of(overlap, parameters) if overlap else None,
        )
        self._button: ButtonProgram | None = None
        if parameters.button is not None:
            self._button = ButtonProgram(
                parameters.button, Draw(draw, seed, "button"), OPERATE_US + self._traits.scan_us, flaws
            )
        self._light = (
            None
            if parameters.light is None
            else Indicator(parameters.light, Draw(draw, seed, "light"), light_flaws_of(faults, parameters))
        )
        self._lit = False
        wrongs = wrongs_of(faults)
        self._pollers = {
            s.name: Poller(s, late_us, Draw(draw, seed, "polls"), wrongs, partial(self._learn, s.name))
            for s in parameters.sensors
            if s.modbus is not None
        }
        self._send: Callable[[str, bytes, int], None] = lambda name, data, at_us: None
        self._calls = dict.fromkeys(parameters.calls, False)
        self._chatter = [
            Chatter(self._channels[f.where[0]], parameters) for f in faults if f.name == "chatter"
        ]
        self._reboots = Reboots(len(self._channels)) if "reboots" in self._faults else None
        self._bridged = {
            f.where[0]: [c for c in self._channels.values() if c.output.call == f.where[0]]
            for f in faults if f.name == "feeds-back"
        }  # fmt: skip
        self._supply = False
        self._off_since_us: int | None = None
        self._dies_us: int | None = None
        self._alive = False
        self._grid_us = 0
        self._last_scan_us = -1
        self._dirty = False
        self._now_us = 0
        self._changes: list[TerminalChange] = []
        self._shown = {name: self._energised(name) for name in self._channels}

    @property
    def mode(self) -> Mode:
        """What the program is doing; for tests of the simulation, a bench cannot see it."""
        return self._logic.mode

    def switching_uv(self, sensor: str) -> tuple[int, int]:
        """Where an analog sensor's input trips and clears at its nominal sensor supply; for tests, a bench has to find it out."""
        return self._readings.inputs[sensor].nominal_uv

    @property
    def drops_supply(self) -> bool:
        """Whether the board overloads its source now."""
        return self._supply and "loads-supply" in self._faults

    @property
    def feeds_back(self) -> frozenset[str]:
        """The calls at whose terminals the board itself puts voltage now."""
        return frozenset(
            call
            for call, channels in self._bridged.items()
            if any(c.forced_on and self._shown[c.output.name] for c in channels)
        )

    def terminals(self) -> dict[str, bool]:
        """What each output terminal shows now."""
        return dict(self._shown)

    # -- inputs -------------------------------------------------------------------------------

    def supply(self, on: bool, at_us: int) -> None:
        """24 VAC at the board's supply terminals comes or goes."""
        self._run(at_us)
        if on is self._supply:
            return
        self._supply = on
        if self._light is not None:
            self._light.supply(on)
        if not on:
            self._off_since_us = at_us
            if self._alive:
                span = self._spans.ride_through
                self._dies_us = at_us + self._draw.span(span, span.max_us)
        elif self._alive:
            self._dies_us = None
            for channel in self._channels.values():
                channel.supply_returned(at_us)
        elif not self.drops_supply:
            off = None if self._off_since_us is None else at_us - self._off_since_us
            self._power_up(at_us, off)
        self._touch(at_us)

    def call(self, name: str, on: bool, at_us: int) -> None:
        """24 VAC at the board's call terminal comes or goes."""
        self._run(at_us)
        if self._calls.get(name) is on:
            return
        self._calls[name] = on
        for channel in self._channels.values():
            if channel.output.call == name and ("call-dead", name) not in self._at:
                channel.call(on, at_us)
        self._touch(at_us)

    def sensor(self, name: str, signal: str | int, at_us: int) -> None:
        """The signal at a sensor's terminal (`1`, `2-trouble`): `open`, `short`, `normal`, `leak`, or a voltage in uV."""
        self._run(at_us)
        self._readings.put(name, signal, at_us)
        self._touch(at_us)

    def button(self, closed: bool, at_us: int) -> None:
        """The contact of the service button closes or opens."""
        self._run(at_us)
        if self._button is not None:
            self._button.contact(closed, at_us, alive=self._alive)
            self._touch(at_us)

    def connect(self, send: Callable[[str, bytes, int], None]) -> None:
        """`send(name, data, at_us)`: where the questions to the Modbus sensor `name` go, from `at_us` on."""
        self._send = send

    def heard(self, name: str, data: bytes, at_us: int) -> None:
        """The last byte of an answer of the Modbus sensor `name`."""
        self._run(at_us)
        if self._alive and self._supply:
            self._pollers[name].heard(data, at_us)

    def _learn(self, name: str, signal: str | int, at_us: int) -> None:
        before = self._readings.inputs[name].condition
        self._readings.put(name, signal, at_us)
        if self._readings.inputs[name].condition is not before:
            self._touch(at_us)

    def _ask(self, at_us: int) -> None:
        for name, poller in self._pollers.items():
            due_us = poller.due_us()
            if due_us is not None and due_us <= at_us:
                data = poller.run(at_us)
                if data:
                    self._send(name, data, at_us)

    # -- time ---------------------------------------------------------------------------------

    def advance(self, to_us: int) -> list[TerminalChange]:
        """Everything that happened at the output terminals since the last call, up to `to_us`, in order."""
        self._run(to_us)
        changes, self._changes = self._changes, []
        return changes

    def next_change_us(self) -> int | None:
        """The earliest instant at which something may change without further input; None: never."""
        candidates = [
            self._next_but_light_us(self._next_scan_us()),
            self._light.next_us() if self._light is not None else None,
        ]
        return min((t for t in candidates if t is not None), default=None)

    def _next_but_light_us(self, scan_us: int | None) -> int | None:
        soonest = [
            due for c in self._channels.values()
            if (due := c.relay.next_us()) is not None and not self._interlock.holds(c)
        ]  # fmt: skip
        others = (scan_us, self._dies_us, *(p.due_us() for p in self._pollers.values()))
        soonest += [due for due in others if due is not None]
        return min(soonest, default=None)

    def _run(self, to_us: int) -> None:
        while True:
            scan_us = self._next_scan_us()
            at = self._next_but_light_us(scan_us)
            last = at is None or at > to_us
            if self._light is not None:
                self._blink(self._light, to_us if at is None else min(at, to_us))
            if at is None or last:
                break
            self._now_us = max(self._now_us, at)
            for channel in [c for c in self._channels.values() if not self._interlock.holds(c)]:
                channel.relay.move(at)
            self._interlock.moved(at)
            if self._dies_us is not None and self._dies_us <= at:
                self._power_down(at)
            elif scan_us == at:
                self._scan(at)
            self._ask(at)
            self._show(at)
        self._now_us = max(self._now_us, to_us)

    def _blink(self, light: Indicator, to_us: int) -> None:
        """The light moves by itself: nothing else has to be looked at meanwhile."""
        while (at := light.next_us()) is not None and at <= to_us:
            at = max(at, self._now_us)
            light.move(at)
            self._show_light(light, at)

    def _show_light(self, light: Indicator, at_us: int) -> None:
        if light.lit is not self._lit:
            self._lit = light.lit
            self._changes.append(TerminalChange(at_us, "light", self._lit))

    def _touch(self, at_us: int) -> None:
        self._dirty = True
        for chatter in self._chatter:
            chatter.disturb(at_us)
        self._show(at_us)

    # -- the scan -----------------------------------------------------------------------------

    def _next_scan_us(self) -> int | None:
        if not self._alive:
            return None
        if self._dirty:  # what else has been due since the last scan is left for the same one
            due = self._now_us
        else:
            dues = [t for t in self._dues() if t > self._last_scan_us]
            if not dues:
                return None
            due = min(dues)
        due = max(due, self._last_scan_us + 1, self._grid_us)
        period = self._traits.scan_us
        return self._grid_us + -(-(due - self._grid_us) // period) * period

    def _dues(self) -> list[int]:
        dues = list(self._logic.dues())
        if self._button is not None:
            dues.extend(self._button.dues())
        for channel in self._channels.values():
            dues.extend(channel.dues())
        dues.extend(chatter.due_us for chatter in self._chatter)
        if self._reboots is not None and self._reboots.due_us is not None:
            dues.append(self._reboots.due_us)
        return dues

    def _scan(self, now_us: int) -> None:
        self._dirty = False
        self._last_scan_us = now_us
        before = self._logic.mode
        if self._button is not None:
            for at_us, action in self._button.scan(now_us):
                if action == "recall" and self._light is not None and self._logic.last_fault is not None:
                    self._light.recall(self._logic.last_fault, now_us)
                self._logic.ask(action, at_us)
        for change in self._logic.scan(now_us):
            if before is Mode.UNPOWERED:
                for channel in self._channels.values():
                    channel.start(self._logic.on_us)
            before = change.mode
            for channel in self._channels.values():
                channel.change(change, now_us)
            for chatter in self._chatter:
                chatter.disturb(now_us)
        for channel in self._channels.values():
            channel.scan(now_us, frozen=not self._supply)
        for chatter in self._chatter:
            chatter.scan(now_us)
        if self._light is not None:
            self._light.mode(self._logic.mode, self._logic.loss_noted, now_us)
        if self._reboots is not None and self._calm() and self._reboots.now(now_us):
            self._power_down(now_us, forget=True)
            self._power_up(now_us, None)

    def _calm(self) -> bool:
        """Nothing but calls passing, and nothing about to move: nobody expects an output to change now."""
        quiet = self._logic.mode is Mode.NORMAL and self._readings.low_since_us is not None
        return self._supply and quiet and all(c.at_rest() for c in self._channels.values())

    def _power_up(self, at_us: int, off_us: int | None) -> None:
        self._alive = True
        self._readings.power_up(at_us)
        if self._button is not None:
            self._button.start(at_us)
        for poller in self._pollers.values():
            poller.start(at_us)
        start = self._logic.power_up(at_us, off_us)
        # The scan begins with the program, anywhere in its first period.
        self._grid_us = start + self._draw.chance(0, self._traits.scan_us - 1)

    def _power_down(self, at_us: int, *, forget: bool = False) -> None:
        self._alive = False
        self._dies_us = None
        for poller in self._pollers.values():
            poller.stop()
        self._logic.power_down(at_us, forget=forget)
        if self._button is not None:
            self._button.reset()
        for channel in self._channels.values():
            channel.lose_supply(at_us)
        if self._light is not None:
            self._light.lose_supply(at_us)

    # -- the terminals ------------------------------------------------------------------------

    def _show(self, at_us: int) -> None:
        if self._light is not None:
            self._show_light(self._light, at_us)
        for name in self._channels:
            on = self._energised(name)
            if on is not self._shown[name]:
                self._shown[name] = on
                self._changes.append(TerminalChange(at_us, name, on))
                if not on and self._supply:
                    self._channels[name].went_off(at_us)
                if self._reboots is not None:
                    self._reboots.watch(self._shown, at_us)
                    self._dirty = True

    def _energised(self, name: str) -> bool:
        """Contacts and feed of the terminal `name`."""
        name = self._other.get(name, name)
        channel = self._channels[name]
        output = channel.output
        closed = self._stuck.get(name, channel.relay.closed)
        if not closed or output.feed == "own":
            return closed
        if output.feed == "supply":
            return self._supply
        # Resting contacts pass the call of a board without supply.
        fed = self._supply or channel.rests_closed
        return fed and output.call is not None and self._calls[output.call]
