"""One output of the oracle's board: what it may do next."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from firmware_ref.parameters import Policy
from tests.judge.oracle.spans import Span, less

#: Policies of our own: the output stays as it is; a resting contact passes its call; no program has it.
STAYS, PASSES, FREE = "stays", "passes", "free"
#: `dark` while there is no supply, or no program running.
GONE = -1


class Order(NamedTuple):
    """Something an output is to take up: not in less than `least` steps, within `most` at the latest."""

    what: object
    least: int
    most: int


class Limits(NamedTuple):
    """What the profile says of one output; `follow` and `react` by the level moved to."""

    own_feed: bool
    follow: tuple[Span, Span]
    react: tuple[Span, Span]
    delay: Span | None
    after: frozenset[str]


class Pin(NamedTuple):
    """One output.

    `level` is what the program makes of it, `shown` what its terminal reads;
    they differ only while `dark`: without supply, and (counted from 0) for as
    long after a dip that was ridden through as follow allows.  `stray`: in
    the dark it came on though the program had it off.  `was`: on as this
    instant began, as far as it matters to the restart delay.

    `moves`: levels it is to take to follow its call; `switches`: policies it is
    to take up.  The last of each must be carried out; the ones before it have
    been superseded and may still show, in their order.  `call_age`: for how
    long the call has been as it is.  `lock`: what is left of the restart delay.
    """

    level: bool
    policy: object
    call: bool
    call_age: int
    moves: tuple[Order, ...] = ()
    switches: tuple[Order, ...] = ()
    lock: Span | None = None
    shown: bool = False
    dark: int | None = None
    stray: bool = False
    was: bool = False

    @property
    def heading(self) -> object:
        """The policy in force once everything ordered is done."""
        return self.switches[-1].what if self.switches else self.policy

    def called(self, on: bool, limits: Limits) -> Pin:
        """The call changed; while the output follows, that orders a move."""
        age = self.call_age
        pin = self._replace(call=on, call_age=0)
        if self.policy not in (Policy.FOLLOW, PASSES) or (not self.moves and self.level == on):
            return pin
        span = limits.follow[on]
        if self.policy == PASSES or (on and not limits.own_feed and age <= limits.follow[False].most):
            span = Span(0, span.most)  # its contact may not have let go: it passes the call at once
        return pin._replace(moves=(*self.moves, Order(on, *span)))

    def ordered(self, policy: object, window: Span) -> Pin:
        """A change of mode orders a policy, unless it is in force or ordered already."""
        if self.heading == policy:
            return self
        return self._replace(switches=(*self.switches, Order(policy, *window)))

    def locked(self, event: str, limits: Limits) -> Pin:
        """The restart delay runs from `event`, if the profile says so; of two the later end counts."""
        if limits.delay is None or event not in limits.after:
            return self
        old = self.lock or Span(0, 0)
        return self._replace(lock=Span(max(old.least, limits.delay.least), max(old.most, limits.delay.most)))

    def happenings(self, limits: Limits) -> Iterator[Pin]:
        """Everything this output may do by itself at this instant."""
        if self.dark is not None:
            yield from self._in_the_dark(limits)
        for n, switch in enumerate(self.switches):
            if switch.least == 0:
                for pin in self._taken(switch.what, limits):
                    yield from pin._replace(switches=self.switches[n + 1 :])._after(self, limits)
        for n, move in enumerate(self.moves):
            if move.least == 0 and not (move.what and self.lock is not None):
                pin = self._replace(level=bool(move.what), moves=self.moves[n + 1 :])
                yield from pin._after(self, limits)
        if self.lock is not None and self.lock.least == 0:
            pin = self._replace(lock=None)
            if self.policy is Policy.FOLLOW and self.call and not self.level:
                # A call that it has not seen yet it still has to see.
                least = max(0, *(m.least for m in self.moves if m.what), 0)
                waiting = Order(True, least, max(limits.react[True].most, *(m.most for m in self.moves), 0))
                pin = pin._replace(moves=(*pin.moves, waiting))
            yield pin

    def _in_the_dark(self, limits: Limits) -> Iterator[Pin]:
        turned = self._replace(shown=not self.shown, stray=self.stray or not (self.shown or self.level))
        yield turned
        if self.shown and self.was and turned.locked("any-off", limits) != turned:
            yield turned.locked("any-off", limits)
        if self.dark != GONE and self.shown == self.level:
            yield self._replace(dark=None, stray=False, was=False)

    def _after(self, before: Pin, limits: Limits) -> Iterator[Pin]:
        """The terminal shows the new level; going off may start the restart delay."""
        pin = self if self.dark is not None else self._replace(shown=self.level)
        off = before.level and not self.level
        if before.policy == STAYS and not before.was:
            off = False  # it came on only now, in the dark
        locked = pin.locked("any-off", limits) if off else pin
        yield locked
        if self.dark is not None and locked != pin:
            yield pin

    def _taken(self, policy: object, limits: Limits) -> Iterator[Pin]:
        pin = self._replace(policy=policy, moves=())
        if policy is not Policy.FOLLOW:
            yield pin._replace(level=policy is Policy.ON and (limits.own_feed or self.call))
            return
        waits = self.call and self.lock is not None
        yield pin._replace(level=self.call and not waits)
        if self.call_age <= limits.follow[self.call].most:  # it may not have seen the call's change yet
            late = Order(self.call, 0, limits.follow[self.call].most)
            if self.call or self.lock is None:
                yield pin._replace(level=not self.call, moves=(late,))

    def ticked(self, oldest: int, limits: Limits) -> Pin | None:
        """One step later; None if something that had to be done was not."""
        moves, dark = self.moves, self.dark
        if moves and moves[-1].most == 0:
            waits = moves[-1].what and self.lock is not None
            if self.level != moves[-1].what and not self.switches and not waits:
                return None  # with a policy on its way it may still follow
            moves = ()
        if self.switches and self.switches[-1].most == 0:
            return None
        if self.lock is not None and self.lock.most == 0:
            return None
        if dark is not None and dark != GONE:
            if self.shown != self.level and dark >= limits.follow[self.level].most:
                return None
            dark = None if dark >= max(span.most for span in limits.follow) else dark + 1
        return self._replace(
            call_age=min(self.call_age + 1, oldest),
            moves=tuple(_later(m) for m in moves if m.most),
            switches=tuple(_later(s) for s in self.switches if s.most),
            lock=self.lock and self.lock.after(1),
            dark=dark,
            stray=self.stray and dark is not None,
            was=self.shown and (dark is not None or self.policy == STAYS) and "any-off" in limits.after,
        )


def _later(order: Order) -> Order:
    return Order(order.what, max(0, order.least - 1), less(order.most))
