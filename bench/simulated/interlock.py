"""The two alarm contacts of one board: neither closes before the other has opened.

However a maker does it (one relay with both contacts, two relays and a
program), a good board keeps to it; so both also keep to the tighter of their
two limits for each move.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TypeVar

from bench.simulated.channel import Channel
from bench.simulated.relay import BOUNCE_US
from firmware_ref.alarm import PAIR, are_watched
from firmware_ref.parameters import Interval, Output, Parameters

#: From one contact's opening, when it has done bouncing, to the other's closing; ours.
_TRAVEL_US = 4_000


def outputs_of(parameters: Parameters) -> tuple[Output, ...]:
    """The outputs as they are drawn: of two contacts each move within the limits of both."""
    if not are_watched(parameters):
        return parameters.outputs
    no, nc = (parameters.output(name) for name in PAIR)
    no_on, nc_off = _tight(no.react_on, nc.react_off)
    no_off, nc_on = _tight(no.react_off, nc.react_on)
    no_trip, nc_trip = _tight(no.trip, nc.trip)
    no_loss, nc_loss = _tight(no.loss, nc.loss)
    tight = {
        "alarm.no": replace(no, react_on=no_on, react_off=no_off, trip=no_trip, loss=no_loss),
        "alarm.nc": replace(nc, react_on=nc_on, react_off=nc_off, trip=nc_trip, loss=nc_loss),
    }
    return tuple(tight.get(o.name, o) for o in parameters.outputs)


def travel_us(parameters: Parameters) -> int:
    """How much sooner the program has to decide, so that the contact that waits is in time too."""
    return BOUNCE_US + _TRAVEL_US if are_watched(parameters) else 0


_Limits = TypeVar("_Limits", Interval, "Interval | None")


def _tight(a: _Limits, b: _Limits) -> tuple[_Limits, _Limits]:
    """What lies in both, less bounce and travel at the end; where nothing does, each as it is.

    Where one has no limit it keeps to the other's: neither moves without the other.
    """
    a, b = a or b, b or a
    if a is None or b is None:
        return a, b
    low, high = max(a.min_us, b.min_us), min(a.max_us, b.max_us) - BOUNCE_US - _TRAVEL_US
    return (Interval(low, high), Interval(low, high)) if low <= high else (a, b)


class Interlock:
    """Between the relays of the two contacts; nothing where the board has not both.

    `overlap_us`: a fault: the one that rests closed opens only so long after
    the other has closed.
    """

    def __init__(
        self, parameters: Parameters, channels: dict[str, Channel], overlap_us: int | None = None
    ) -> None:
        pair = [channels[name] for name in PAIR] if are_watched(parameters) else []
        self._other = dict(zip(pair, reversed(pair), strict=True))
        self._overlap_us = overlap_us
        self._were_closed = {c: c.relay.closed for c in pair}
        self._since_us = dict.fromkeys(pair, -_TRAVEL_US)

    def holds(self, channel: Channel) -> bool:
        """Whether its contact must wait for the other's to move."""
        other = self._other.get(channel)
        if other is None:
            return False
        if self._overlap_us is not None and channel.output.name == "alarm.nc":
            return channel.relay.opens_next() and not other.relay.closed
        return self._overlap_us is None and channel.relay.closes_next() and other.relay.closed

    def moved(self, at_us: int) -> None:
        """A contact that waited moves a while after the other has; so the other has done bouncing by then."""
        for channel, other in self._other.items():
            late = self._overlap_us is not None
            if other.relay.closed is not self._were_closed[other]:
                self._were_closed[other] = other.relay.closed
                self._since_us[other] = at_us
            waits = channel.relay.opens_next() if late else channel.relay.closes_next()
            due_us = channel.relay.next_us()
            soonest_us = self._since_us[other] + (self._overlap_us or _TRAVEL_US)
            if other.relay.closed is late and waits and due_us is not None and due_us < soonest_us:
                channel.relay.put_off(soonest_us - due_us)
