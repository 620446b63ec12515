"""One output of the oracle's board: what it may do next."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from firmware_ref.parameters import Policy


class Span(NamedTuple):
    least: int
    most: int


#: Policies of our own: the output stays as it is; without supply it does as it likes,
#: or as it likes except turning on.
STAYS, FREE, FREE_NOT_ON = "stays", "free", "free, not on"


class Order(NamedTuple):
    """Something an output is to take up: not in less than `least` steps, within `most` at the latest."""

    what: object
    least: int
    most: int


class Pin(NamedTuple):
    """One output.

    `moves`: levels it is to take to follow its call; `switches`: policies it is
    to take up.  The last of each must be carried out; the ones before it have
    been superseded and may still show, in their order.  `call_age`: for how
    long the call has been as it is.
    """

    level: bool
    policy: object
    call: bool
    call_age: int
    moves: tuple[Order, ...] = ()
    switches: tuple[Order, ...] = ()

    @property
    def heading(self) -> object:
        """The policy in force once everything ordered is done."""
        return self.switches[-1].what if self.switches else self.policy

    def called(self, on: bool, follow: tuple[Span, Span]) -> Pin:
        """The call changed; while the output follows, that orders a move."""
        pin = self._replace(call=on, call_age=0)
        if self.policy is not Policy.FOLLOW or (not self.moves and self.level == on):
            return pin
        return pin._replace(moves=(*self.moves, Order(on, *follow[on])))

    def ordered(self, policy: object, window: Span) -> Pin:
        """A change of mode orders a policy, unless it is in force or ordered already."""
        if self.heading == policy:
            return self
        return self._replace(switches=(*self.switches, Order(policy, *window)))

    def happenings(self, own_feed: bool, follow: tuple[Span, Span]) -> Iterator[Pin]:
        """Everything this output may do by itself at this instant."""
        if self.policy == FREE or (self.policy == FREE_NOT_ON and self.level):
            yield self._replace(level=not self.level)
        for n, switch in enumerate(self.switches):
            if switch.least == 0:
                yield from self._replace(switches=self.switches[n + 1 :])._taken(
                    switch.what, own_feed, follow
                )
        for n, move in enumerate(self.moves):
            if move.least == 0:
                yield self._replace(level=bool(move.what), moves=self.moves[n + 1 :])

    def _taken(self, policy: object, own_feed: bool, follow: tuple[Span, Span]) -> Iterator[Pin]:
        pin = self._replace(policy=policy, moves=())
        if policy is not Policy.FOLLOW:
            yield pin._replace(level=policy is Policy.ON and (own_feed or self.call))
            return
        yield pin._replace(level=self.call)
        if self.call_age <= follow[self.call].most:  # it may not have seen the call's change yet
            late = Order(self.call, 0, follow[self.call].most)
            yield pin._replace(level=not self.call, moves=(late,))

    def ticked(self, oldest: int) -> Pin | None:
        """One step later; None if something that had to be done was not."""
        moves = self.moves
        if moves and moves[-1].most == 0:
            if self.level != moves[-1].what and not self.switches:  # a policy on its way: it may still follow
                return None
            moves = ()
        if self.switches and self.switches[-1].most == 0:
            return None
        return self._replace(
            call_age=min(self.call_age + 1, oldest),
            moves=tuple(_later(m) for m in moves if m.most),
            switches=tuple(_later(s) for s in self.switches if s.most),
        )


def _later(order: Order) -> Order:
    return Order(order.what, max(0, order.least - 1), order.most - 1)
