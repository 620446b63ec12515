"""What the tracker is fed: stimuli as read back, and settled changes of outputs.

Instants are `Stamp`s in true microseconds.
"""

from __future__ import annotations

from typing import NamedTuple, Union

from bench.judge.window import Stamp
from bench.trace.records import Value


class CallMoved(NamedTuple):
    """A thermostat call at the board's terminal went on or off."""

    call: str
    on: bool
    stamp: Stamp


class SensorMoved(NamedTuple):
    """The signal at a sensor's terminal of the board became `value`.

    `sensor` is the terminal's name: the sensor's, or `2-trouble` for its trouble contact.
    """

    sensor: str
    value: Value
    stamp: Stamp


class SupplyMoved(NamedTuple):
    """The board's 24 VAC supply came or went."""

    on: bool
    stamp: Stamp


class ButtonMoved(NamedTuple):
    """The service button's contact closed (`on`) or opened."""

    on: bool
    stamp: Stamp


class Change(NamedTuple):
    """An output settled at a new level; the moment is its first edge."""

    output: str
    on: bool
    stamp: Stamp


class Flicker(NamedTuple):
    """A lone pulse to `on`, shorter than the glitch time, ended by `until_us`: noted, not judged."""

    output: str
    on: bool
    stamp: Stamp
    until_us: int


Stimulus = Union[CallMoved, SensorMoved, SupplyMoved, ButtonMoved]
Event = Union[CallMoved, SensorMoved, SupplyMoved, ButtonMoved, Change, Flicker]


def instant_us(event: Event) -> int:
    """When an event is processed: a stimulus at its earliest, a change at its latest instant."""
    return event.stamp.latest_us if isinstance(event, (Change, Flicker)) else event.stamp.earliest_us
