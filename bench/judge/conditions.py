"""What the sensors say, and since when.

A reading inside the tolerance band of a level may be taken either way, so a
sensor has a *set* of conditions.  For each thing a timer may need (`Needs`)
this keeps since when it may have held without a break, and since when it
surely has.  A loss over a low fades the low (`low_fades`) rather than ending it:
a loss too short to be noticed breaks nothing.  `unbroken` is the low before the first such loss, `again` the
low that began anew after it.  Since the sensors were last
surely low, they were so no more from `not_low_began` on, surely not low in
`not_low_pieces` (begin, least length), and before the last of these may have been low from `was_low` on, and `not_low_by_loss` tells whether a loss had part in it;
`longest_by_level_us` is the longest piece of it in which a level alone kept them from it.
`all_good`: no sensor at all is lost, which leaving sensor-fault needs also where a loss takes all of them;
`good_broken`: when the last such time ended.
`not_lost`: the one condition of all sensors is no loss, as a leak goes before it.
The bound of the signal source widens every band.

A board with several sensors may form one condition of them, in which a leak
goes before a loss, or give each its own timers.  What surely holds, holds for
both kinds of board; what may hold, for either.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from bench.judge.window import Stamp
from bench.trace.records import Value, Voltage
from firmware_ref.machine import Needs
from firmware_ref.parameters import Condition, Parameters, Sensor

_LOW, _BETWEEN, _HIGH, _LOST = Condition.LOW, Condition.BETWEEN, Condition.HIGH, Condition.LOST


def readings(sensor: Sensor, value: Value, trouble: Value | None = None) -> frozenset[Condition]:
    """The conditions that one sensor's signal may be taken for; `trouble`: what its trouble contact says."""
    if sensor.kind in ("contact", "trouble-contact"):
        return _contact_readings(sensor, value, trouble)
    if not isinstance(value, Voltage):
        if value in ("leak", "normal"):
            return frozenset({_HIGH if value == "leak" else _LOW})
        if value == "open" and sensor.kind == "modbus":
            value = "silent"  # nobody answers either way
        return frozenset({_LOST}) if value in sensor.lost_by else frozenset(Condition)
    assert sensor.trip is not None and sensor.clear is not None
    first, last = value.value_uv - value.bound_uv, value.value_uv + value.bound_uv
    trip, clear = sensor.trip, sensor.clear
    if not sensor.rising:  # more gas is less voltage: mirror the axis
        first, last = -last, -first
        trip_low, trip_high, clear_low, clear_high = (
            -trip.high_uv,
            -trip.low_uv,
            -clear.high_uv,
            -clear.low_uv,
        )
    else:
        trip_low, trip_high, clear_low, clear_high = trip.low_uv, trip.high_uv, clear.low_uv, clear.high_uv
    found = set()
    if sensor.below is not None and value.value_uv - value.bound_uv <= sensor.below.high_uv:
        if value.value_uv + value.bound_uv < sensor.below.low_uv:
            return frozenset({_LOST})
        found.add(_LOST)
    if sensor.above is not None and value.value_uv + value.bound_uv >= sensor.above.low_uv:
        if value.value_uv - value.bound_uv > sensor.above.high_uv:
            return frozenset({_LOST})
        found.add(_LOST)
    if last >= trip_low:
        found.add(_HIGH)
    if first <= clear_high:
        found.add(_LOW)
    if first <= trip_high and last >= clear_low:
        found.add(_BETWEEN)
    return frozenset(found)


def crossed(parameters: Parameters, sensor: Sensor, before: Value, after: Value) -> frozenset[Condition]:
    """What a sensor's signal may be taken for on its way from one value to another, and at neither end.

    Only what a board may act on in so short a time: a leak or a clear that need not last, or of which nothing is stated.
    """
    settle_us = parameters.timing.settle_us
    if sensor.kind != "analog" or not settle_us:
        return frozenset()  # changes at once, as registers do
    needed = {_HIGH: parameters.qualification("trip"), _LOW: parameters.timing.clear}
    brief = frozenset(c for c, span in needed.items() if span is None or span.max_us <= settle_us)
    if not brief or before == after:
        return frozenset()
    ends = [Voltage(0, 0) if value == "short" else value for value in (before, after)]
    voltages = [end for end in ends if isinstance(end, Voltage)]
    if len(voltages) == 2:  # else a wire that is off: pulled to either side
        first = min(end.value_uv - end.bound_uv for end in voltages)
        last = max(end.value_uv + end.bound_uv for end in voltages)
        middle = (first + last) // 2
        brief &= readings(sensor, Voltage(middle, max(middle - first, last - middle)))
    return brief - readings(sensor, before) - readings(sensor, after)


def _contact_readings(sensor: Sensor, value: Value, trouble: Value | None) -> frozenset[Condition]:
    """Of plain contacts.  A leak from a sensor in trouble may be taken for a leak or for the loss."""
    leak = value == "leak" or (value != "normal" and _closed(value) is (sensor.leak_when == "closed"))
    if sensor.trouble_when is not None and _closed(trouble) is (sensor.trouble_when == "closed"):
        if "trouble" not in sensor.lost_by:
            return frozenset(Condition)
        return frozenset({_LOST, _HIGH}) if leak else frozenset({_LOST})
    return frozenset({_HIGH if leak else _LOW})


def _closed(value: Value | None) -> bool:
    return value == "short"


@dataclass(slots=True)
class Since:
    """Since when something may have held (`possible`) and surely has (`sure`); None: does not."""

    possible: Stamp | None = None
    sure: Stamp | None = None

    def fork(self) -> Since:
        return Since(self.possible, self.sure)


@dataclass(frozen=True, slots=True)
class Low:
    """A low without a break: since when it may have been so and (None: not) surely was.

    `good`: since when all sensors surely had been good by then.
    """

    possible: Stamp
    sure: Stamp | None
    good: Stamp | None


@dataclass(slots=True)
class Counted:
    """Since when a sensor surely counts as good, a loss too short to be noticed not counted; None: may be lost.

    `loss_us`: the least time of a loss that is noticed, `return_us`: the longest until a sensor counts as good
    again, which any loss breaks off; None: not stated.
    """

    loss_us: int | None
    return_us: int | None
    since: Stamp | None = None
    _lost: Stamp | None = None

    def fork(self) -> Counted:
        return Counted(self.loss_us, self.return_us, self.since, self._lost)

    @property
    def good(self) -> Stamp | None:
        return None if self._lost is not None else self.since

    def update(self, good: bool, stamp: Stamp) -> None:
        if not good:
            self._lost = self._lost or stamp
        elif self.since is None:
            self.since, self._lost = stamp, None
        elif self._lost is not None:
            if not self._unnoticed(self.since, self._lost, stamp):
                self.since = stamp
            self._lost = None

    def _unnoticed(self, since: Stamp, lost: Stamp, back: Stamp) -> bool:
        """Whether a loss, however far clocks are off, was too short, of a sensor that counted as good before."""
        if self.loss_us is None or self.return_us is None:
            return False
        good_us, gone_us = lost.earliest_us - since.latest_us, back.latest_us - lost.earliest_us
        return gone_us + gone_us // 100 < self.loss_us and good_us - good_us // 100 > self.return_us

    def anew(self, stamp: Stamp | None) -> None:
        """Count from `stamp`, or when the supply is back."""
        self.since = stamp if self.good is not None else None
        self._lost = None if stamp is None else self._lost


_WATCHED = (Needs.HIGH, Needs.LOW, Needs.LOST, Needs.GOOD)


@dataclass(slots=True)
class Own:
    """What one sensor says, and since when it says so by itself; `at`: the value at each of its terminals."""

    sensor: Sensor
    reads: frozenset[Condition]
    counted: Counted
    at: tuple[Value, ...] = ()
    high: Since = field(default_factory=Since)
    lost: Since = field(default_factory=Since)
    good: Since = field(default_factory=Since)

    def fork(self) -> Own:
        return Own(
            self.sensor,
            self.reads,
            self.counted.fork(),
            self.at,
            self.high.fork(),
            self.lost.fork(),
            self.good.fork(),
        )

    @property
    def all(self) -> tuple[Since, ...]:
        return self.high, self.lost, self.good

    def update(self, stamp: Stamp) -> None:
        reads = self.reads
        _follow(self.high, _HIGH in reads, reads == {_HIGH}, stamp)
        _follow(self.lost, _LOST in reads, reads == {_LOST}, stamp)
        _follow(self.good, reads != {_LOST}, _LOST not in reads, stamp)
        self.counted.update(_LOST not in reads, stamp)


@dataclass(slots=True)
class Conditions:
    """All sensors together."""

    parameters: Parameters
    powered: bool = False
    since: dict[Needs, Since] = field(default_factory=dict)
    not_low_began: Stamp | None = None
    not_low_by_loss: bool = False
    high_ended: Stamp | None = None
    not_low_pieces: tuple[tuple[int, int], ...] = ()
    surely_not_low: Stamp | None = None
    not_low_by_level: Stamp | None = None
    longest_by_level_us: int = 0
    was_low: Stamp | None = None
    low_fades: Stamp | None = None
    unbroken: Low | None = None
    again: Low | None = None
    all_good: Since = field(default_factory=Since)
    good_broken: Stamp | None = None
    not_lost: Since = field(default_factory=Since)
    counted: Counted = field(default_factory=lambda: Counted(None, None))
    _own: dict[str, Own] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.since = {n: Since() for n in _WATCHED}
        loss, return_ = self.parameters.qualification("loss"), self.parameters.timing.return_
        self.counted = Counted(loss.min_us if loss else None, return_.max_us if return_ else None)
        for s in self.parameters.sensors:
            at: tuple[Value, ...] = ("open",) * len(s.terminals)
            self._own[s.name] = Own(s, readings(s, *at), self.counted.fork(), at)

    def fork(self) -> Conditions:
        """An independent copy."""
        copy = Conditions(self.parameters, self.powered)
        copy.since = {n: s.fork() for n, s in self.since.items()}
        copy.all_good, copy.counted = self.all_good.fork(), self.counted.fork()
        copy.not_lost, copy.good_broken = self.not_lost.fork(), self.good_broken
        copy._own = {name: own.fork() for name, own in self._own.items()}
        copy.not_low_began, copy.not_low_by_loss = self.not_low_began, self.not_low_by_loss
        copy.not_low_pieces, copy.surely_not_low = self.not_low_pieces, self.surely_not_low
        copy.not_low_by_level, copy.longest_by_level_us = self.not_low_by_level, self.longest_by_level_us
        copy.high_ended, copy.low_fades, copy.was_low = self.high_ended, self.low_fades, self.was_low
        copy.unbroken, copy.again = self.unbroken, self.again
        return copy

    def read(self, terminal: str, value: Value, stamp: Stamp) -> None:
        """The signal at a sensor's terminal (`2`, `2-trouble`) is `value` from `stamp` on."""
        own = self._own[terminal.partition("-")[0]]
        place = own.sensor.terminals.index(terminal)
        own.at = (*own.at[:place], value, *own.at[place + 1 :])
        own.reads = readings(own.sensor, *own.at)
        if self.powered:
            self._update(stamp)

    def crosses(self, terminal: str, value: Value, stamp: Stamp) -> bool:
        """Whether a signal on its way to `value` may be taken for what it only crosses; then that may hold from here on."""
        own = self._own[terminal.partition("-")[0]]
        found = crossed(self.parameters, own.sensor, own.at[0], value) if self.powered else frozenset()
        if found:
            own.reads |= found
            self._update(stamp, crossing=True)
        return bool(found)

    def _every(self) -> Iterator[Since]:
        yield from self.since.values()
        yield self.all_good
        yield self.not_lost
        for own in self._own.values():
            yield from own.all

    def _counts(self) -> Iterator[Counted]:
        yield self.counted
        for own in self._own.values():
            yield own.counted

    def supply(self, on: bool, stamp: Stamp) -> None:
        """Without supply the sensors have no condition; it begins with the supply."""
        self.powered = on
        if on:
            self._update(stamp)
        else:
            for since in self._every():
                since.possible = since.sure = None
            for counted in self._counts():
                counted.anew(None)
            self.low_fades = self.surely_not_low = self.was_low = self.unbroken = self.again = None
            self.not_low_began, self.not_low_pieces, self.not_low_by_loss = stamp, (), False
            self.not_low_by_level, self.longest_by_level_us = None, 0

    def interrupted(self, stamp: Stamp) -> None:
        """The supply is back after a dip that the board may or may not have ridden through."""
        for since in self._every():
            since.sure = since.sure and stamp
        for counted in self._counts():
            counted.anew(stamp)
        self.surely_not_low, self.not_low_pieces = self.surely_not_low and stamp, ()
        self.not_low_by_level, self.longest_by_level_us = self.not_low_by_level and stamp, 0
        self.unbroken = self.again = None

    def good_again(self, in_fault: bool = False) -> Stamp | None:
        """Since when all sensors surely count as good, or as many as a loss is not taken from; None: they do not.

        `in_fault`: to a board in a sensor fault, which any loss keeps there.
        """
        good = self.all_good.sure if in_fault else self.counted.good
        return good or self.since[Needs.GOOD].sure

    def good_and_high(self, in_fault: bool) -> list[tuple[Stamp, Stamp]]:
        """Of every sensor that surely says high: since when it does, and since when it surely counts as good."""
        found = []
        for own in self._own.values():
            good = own.good.sure if in_fault else own.counted.good
            if own.high.sure is not None and good is not None:
                found.append((own.high.sure, good))
        return found

    def not_low_us(self, since_us: int) -> int:
        """The longest time in one piece, begun no earlier than `since_us`, that the sensors surely were not low."""
        return max((length for began, length in self.not_low_pieces if began >= since_us), default=0)

    def possible_now(self, needs: Needs) -> bool:
        return self.since[needs].possible is not None

    @property
    def low_or_lost(self) -> bool:
        """Whether of each sensor alone one or the other may be so: to a board that noticed a loss it may last."""
        return all(own.reads & {_LOW, _LOST} for own in self._own.values())

    def surely(self, needs: Needs) -> bool:
        return self.since[needs].sure is not None

    def _update(self, stamp: Stamp, crossing: bool = False) -> None:
        owns = list(self._own.values())
        for own in owns:
            own.update(stamp)
        sets = [own.reads for own in owns]
        takes_one = self.parameters.rules.lost_when != "all"
        merge_lost = any if takes_one else all
        may_lost = merge_lost(_LOST in s for s in sets)
        sure_lost = merge_lost(s == {_LOST} for s in sets)
        may_high = any(_HIGH in s for s in sets)
        status = {
            Needs.HIGH: (may_high, any(s == {_HIGH} for s in sets)),
            Needs.LOW: (all(_LOW in s for s in sets), all(s == {_LOW} for s in sets)),
            Needs.LOST: (may_lost, sure_lost and not may_high),
            Needs.GOOD: (not sure_lost or may_high, not may_lost),
        }
        if self.since[Needs.HIGH].possible is not None and not may_high:
            self.high_ended = stamp
        low = self.since[Needs.LOW]
        if low.sure is not None and not status[Needs.LOW][1]:
            self.not_low_began, self.not_low_by_loss, self.not_low_pieces = stamp, False, ()
            self.longest_by_level_us = 0
        self._level(not status[Needs.LOW][0] and not may_lost, stamp)
        if not status[Needs.LOW][0]:
            self.surely_not_low = self.surely_not_low or stamp
        elif self.surely_not_low is not None:
            gone_us = stamp.earliest_us - self.surely_not_low.latest_us
            self.not_low_pieces = (*self.not_low_pieces[-15:], (self.surely_not_low.latest_us, gone_us))
            self.surely_not_low = None
        self.not_low_by_loss = self.not_low_by_loss or may_lost
        # What a signal only crosses it may as well not have been: a loss over a low goes on through it.
        lost = may_lost if crossing else sure_lost
        if not status[Needs.LOW][0] and lost and low.possible is not None:
            if self.low_fades is None:
                self._fade(low)
            # Until the loss has surely qualified, the board may take the low as unbroken.
            self.low_fades = self.low_fades or stamp
            low.sure = None
            status.pop(Needs.LOW)
        elif self.low_fades is not None:
            if self._loss_qualified(stamp):
                low.possible = self.unbroken = self.again = None
            elif status[Needs.LOW][0] and self.again is None:
                self.again = Low(stamp, None, None)
            self.low_fades = None
        self.was_low = low.possible or self.was_low
        for needs, (may, sure) in status.items():
            _follow(self.since[needs], may, sure, stamp)
        if low.possible is None:
            self.unbroken = self.again = None
        all_good = all(_LOST not in s for s in sets)
        if self.all_good.possible is not None and not all_good:
            self.good_broken = stamp
        _follow(self.all_good, all(s != {_LOST} for s in sets), all_good, stamp)
        _follow(self.not_lost, not sure_lost or may_high, not may_lost or status[Needs.HIGH][1], stamp)
        self.counted.update(all_good, stamp)
        self._each_alone(takes_one)

    def _level(self, not_low: bool, stamp: Stamp) -> None:
        """A level alone, no loss, keeps the sensors from being low, or does so no more."""
        if not_low:
            self.not_low_by_level = self.not_low_by_level or stamp
        elif self.not_low_by_level is not None:
            gone_us = stamp.earliest_us - self.not_low_by_level.latest_us
            self.longest_by_level_us = max(self.longest_by_level_us, gone_us)
            self.not_low_by_level = None

    def _fade(self, low: Since) -> None:
        """Keep what was known of the low before a loss over it."""
        assert low.possible is not None
        if self.again is not None:
            self.again = Low(self.again.possible, low.sure, self.good_again())
        elif self.unbroken is None:
            self.unbroken = Low(low.possible, low.sure, self.good_again())

    def low_again(self) -> Low | None:
        """The low that began anew after a loss too short to be noticed, as it stands now."""
        if self.again is None or self.low_fades is not None:
            return self.again
        return Low(self.again.possible, self.since[Needs.LOW].sure, self.good_again())

    def _each_alone(self, takes_one: bool) -> None:
        """What one sensor is enough for surely holds only since one of them has said so by itself."""
        owns = self._own.values()
        alone = [(Needs.HIGH, [o.high.sure for o in owns])]
        alone.append(
            (Needs.LOST, [o.lost.sure for o in owns])
            if takes_one
            else (Needs.GOOD, [o.good.sure for o in owns])
        )
        for needs, stamps in alone:
            since = self.since[needs]
            first = min((s for s in stamps if s is not None), key=lambda s: s.latest_us, default=None)
            if since.sure is not None and first is not None and first.latest_us > since.sure.latest_us:
                since.sure = first

    def _loss_qualified(self, stamp: Stamp) -> bool:
        """Whether a loss over a low has lasted so long that the board must have noticed it."""
        assert self.low_fades is not None
        loss = self.parameters.qualification("loss")
        return loss is not None and stamp.earliest_us - self.low_fades.latest_us > loss.max_us


def _follow(since: Since, may: bool, sure: bool, stamp: Stamp) -> None:
    if not may:
        since.possible = since.sure = None
        return
    if since.possible is None:
        since.possible = stamp
    since.sure = (since.sure or stamp) if sure else None
