"""Which events may fall when, and what a possibility becomes when one does.

Works on the table derived from the reference machine (`firmware_ref.machine`);
nothing here knows outputs beyond handing them to `bench.judge.orders`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import NamedTuple

from bench.judge import holds
from bench.judge.conditions import Low, Since
from bench.judge.orders import lock_of, on_entry, react, without_supply
from bench.judge.possibility import MIXED, NEVER_US, Claim, Expect, Possibility, forgettable, left_hull
from bench.judge.window import Limit, Stamp, Window, at, earlier, later, limit_at
from bench.judge.world import World
from firmware_ref.machine import ASKED, MODES, TABLE, WATCH, Memory, Needs, Watch, targets
from firmware_ref.parameters import MITIGATING, Mode, Policy

_FAULTY = ("leak_active_lost", "post_leak_hold_lost", "sensor_fault", "sensor_fault_latched")
#: Where a qualification that began in the start-up may still run.
_FROM_START_UP = ("start_up", *_FAULTY)
#: After these a board may begin to watch its sensors, or have done so all the while.
_BEGINS_TO_WATCH = ("booted", "warmed_up", "self_test_asked", "self_test_over", "reset_asked", MIXED)


class Due(NamedTuple):
    """An event that may fall in `window`; its qualification began in `base`.

    `must`: at the end of the window it has fallen; else it may also never fall.
    `way`: tells windows of one event apart that lie apart.
    """

    event: str
    window: Window
    base: Window | None
    must: bool = True
    way: int = 0

    @property
    def which(self) -> tuple[str, int]:
        """What tells it from all else that a possibility waits for."""
        return self.event, self.way

    @property
    def closes_us(self) -> int | None:
        """When the event must have fallen, in us; None: never."""
        return self.window.closes_us if self.must else None


def dues(p: Possibility, world: World) -> Iterator[Due]:
    """The events that this possibility waits for, given the stimuli so far.

    Of the possibility only what `waits_like` compares may be looked at.
    """
    if world.cut is not None and p.state != "unpowered":
        yield Due(
            "supply_lost", at(world.cut).plus(world.parameters.timing.ride_through, world.rate_ppm), None
        )
    for watch in WATCH[p.state]:
        if watch.event == "cleared" and world.conditions.unbroken is not None:
            yield from _clears_in_spite(p, world.conditions.unbroken, world)
            continue
        due = _due(p, watch, world)
        if due is not None:
            yield due
    for event in ASKED.values() if world.gestures.asks else ():
        asked = _asked(p, event, world)
        if asked is not None:
            yield asked


def _asked(p: Possibility, event: str, world: World) -> Due | None:
    """What the service button may have asked for; where the mode has no answer to it nothing comes of it."""
    forgets = event == "reset_asked" and p.latched and p.mode in MITIGATING
    if (p.state, event) not in TABLE and not forgets:
        return None
    asks = [
        ask for ask in world.gestures.asks
        if ask.event == event and ask.window.open_after(p.entered.low.first_us)
    ]  # fmt: skip
    if not asks:
        return None
    window, surely = asks[0].window, all(ask.must for ask in asks)
    for ask in asks[1:]:
        window = window.hull(ask.window)
    # A mode that began between the presses may have made the board count anew; and this may be after the answer.
    entered = p.entered.high
    must = surely and entered is not None and entered.last_us < min(ask.first_us for ask in asks)
    if event == "reset_asked" and (forgets or not _good_for_long(world, window.opens_us)):
        must = False
    return Due(event, window.not_before(p.entered.low), None, must)


def let_go(p: Possibility, world: World) -> Possibility:
    """The button was let go: until when the board may answer is known now, also where it may have done so already.

    Not where a restart delay may hold it up, which may count from the answer itself.
    """
    window = next(
        (a.window for a in world.gestures.asks if a.event == p.event and a.window.origin == p.entered.origin),
        None,
    )
    if window is None or window.high is None:
        return p
    expects = tuple(
        e._replace(stated=window.plus(react(o, e.want), world.rate_ppm))
        if e.by_entry and not (e.want and lock) and e.stated is not None and e.stated.high is None
        else e
        for o, e, lock in zip(world.parameters.outputs, p.expects, p.locks, strict=True)
    )
    return p._replace(expects=expects)


def _good_for_long(world: World, at_us: int) -> bool:
    """Whether every sensor surely counts as good again at an instant."""
    good, back = world.conditions.all_good.sure, world.parameters.timing.return_
    return good is not None and back is not None and at_us - good.latest_us > back.max_us


def _due(p: Possibility, watch: Watch, world: World) -> Due | None:
    timing, rate = world.parameters.timing, world.rate_ppm
    if watch.needs is Needs.SUPPLY:
        if p.supplied is None:
            return None
        needed = timing.boot if watch.timer == "boot" else timing.warm_up
        window = at(p.supplied).plus(needed, rate)
        if watch.event == "warmed_up":
            return _warmed_up(p, window, world)
        return _boots(window, world)
    if watch.needs is Needs.HOLD:
        return _hold_due(p, world)
    if watch.needs is Needs.NOTHING:
        return Due(watch.event, p.entered.plus(timing.self_test, rate), None)
    ends = _ends_self_test(watch.event, world) if p.state == "self_test" else "ends"
    if ends == "waits":
        return None
    since = world.conditions.since[watch.needs]
    if since.possible is None:
        return None
    high = None if since.sure is None else limit_at(since.sure)
    origin = since.sure or since.possible
    if watch.event == "returned":
        every = world.conditions.all_good  # to leave sensor-fault all sensors must be good
        if p.state == "sensor_fault":
            return _returns(p, every, world)
        return _returns(p, Since(since.possible, since.sure and every.sure), world)
    if high is not None:
        high = _qualifies_from(p, watch, world, high)
    base = Window(limit_at(since.possible), high, origin)
    span = timing.clear if watch.event == "cleared" else world.parameters.qualification(watch.timer)
    window = base.plus(span, rate).not_before(p.entered.low)
    return Due(watch.event, _not_before_entry(window, p), base, must=ends is not None)


def _ends_self_test(event: str, world: World) -> str | None:
    """What the profile has a leak, or a lost sensor, do in a self-test; None: not stated."""
    rules = world.parameters.rules
    return rules.leak_in_self_test if event == "tripped" else rules.loss_in_self_test


def _not_before_entry(window: Window, p: Possibility) -> Window:
    """What has qualified already falls with the entry, as late as that may be."""
    if window.high is None or p.entered.high is None:
        return window._replace(high=None)
    return window._replace(high=later(window.high, p.entered.high))


def _boots(window: Window, world: World) -> Due | None:
    """The end of boot; cut off meanwhile the board may boot on for as long as it rides through, or not at all."""
    if world.cut is None:
        return Due("booted", window, None)
    ride = world.parameters.timing.ride_through
    rides_until = None if ride is None else limit_at(world.cut).plus(ride.max_us, world.rate_ppm)
    if rides_until is not None and window.high is not None:
        window = window._replace(high=earlier(window.high, rides_until))
    if window.high is not None and window.high.last_us < window.low.first_us:
        return None
    return Due("booted", window, None, must=False)


def _warmed_up(p: Possibility, window: Window, world: World) -> Due | None:
    """The end of start-up; with `check_before_normal` not while a sensor is high."""
    conditions = world.conditions
    must = True
    if world.parameters.rules.check_before_normal:
        if conditions.surely(Needs.HIGH):
            return None
        must = not conditions.possible_now(Needs.HIGH)
        if not must:  # taken for high in a band, and no longer at any time
            window = window._replace(high=None)
        elif conditions.high_ended is not None and window.high is not None:
            window = window._replace(high=later(window.high, limit_at(conditions.high_ended)))
    return Due("warmed_up", window.not_before(p.entered.low), None, must)


def _returns(p: Possibility, good: Since, world: World) -> Due | None:
    """A board may wait with the return while a sensor is high, and must where the profile says so.

    Within mitigation nothing is released by it, and either is right.
    """
    conditions, rate = world.conditions, world.rate_ppm
    if good.possible is None:
        return None
    waits = world.parameters.rules.return_only_when == "not-high" and p.mode not in MITIGATING
    if waits and conditions.surely(Needs.HIGH):
        return None
    high = None
    if good.sure is not None:
        high = limit_at(good.sure)
        if conditions.high_ended is not None:
            high = later(high, limit_at(conditions.high_ended))
    if conditions.possible_now(Needs.HIGH) and not conditions.surely(Needs.HIGH):
        high = None  # in a band it may be taken for high, and no longer, at any time
    window = Window(limit_at(good.possible), high, good.sure or good.possible).plus(
        world.parameters.timing.return_, rate
    )
    must = not conditions.possible_now(Needs.HIGH)
    return Due("returned", window.not_before(p.entered.low), None, must)


def _clears_in_spite(p: Possibility, unbroken: Low, world: World) -> Iterator[Due]:
    """A loss that has not qualified may break the clear or not: it runs on, or begins anew with the low after it."""
    conditions = world.conditions
    lows = [unbroken] if (again := conditions.low_again()) is None else [unbroken, again]
    for way, low in enumerate(lows):
        high = None if low.sure is None else _clears_from(p, world, limit_at(low.sure), low.good)
        base = Window(limit_at(low.possible), high, low.sure or low.possible)
        window = base.plus(world.parameters.timing.clear, world.rate_ppm).not_before(p.entered.low)
        window = _not_before_entry(window, p)
        if conditions.low_fades is not None:
            loss = world.parameters.qualification("loss")
            if loss is not None:
                noticed = limit_at(conditions.low_fades).plus(loss.max_us, world.rate_ppm)
                window = window._replace(
                    high=noticed if window.high is None else earlier(window.high, noticed)
                )
            if window.high is not None and window.low.first_us > window.high.last_us:
                continue
        yield Due("cleared", window, base, must=conditions.low_fades is None and low is again, way=way)


def _qualifies_from(p: Possibility, watch: Watch, world: World, sure: Limit) -> Limit | None:
    """The latest start of a qualification whose condition surely holds from `sure` on."""
    timing, rate = world.parameters.timing, world.rate_ppm
    if p.state in _FROM_START_UP and p.supplied is not None:
        sure = later(sure, limit_at(p.supplied).plus(timing.warm_up.max_us, rate))
    if watch.event == "cleared":
        return _clears_from(p, world, sure, world.conditions.good_again())
    if watch.event == "tripped" and (p.state in _FAULTY or p.event in ("returned", "hold_over", MIXED)):
        waits = _waits_for_return(p, world, sure)
        if waits is None:
            return None
        sure = waits
    anew = p.event == "lost" and watch.event == "tripped" and len(world.parameters.sensors) > 1
    if anew or p.event in _BEGINS_TO_WATCH:  # a loss may begin the trip of another sensor anew
        return None if p.entered.high is None else later(sure, p.entered.high)
    return sure


def _waits_for_return(p: Possibility, world: World, sure: Limit) -> Limit | None:
    """The latest start of a trip where a sensor that was lost must first count as good again."""
    conditions, return_ = world.conditions, world.parameters.timing.return_
    in_fault = p.state in _FAULTY
    if p.event in ("returned", MIXED) and not in_fault and p.entered.high is not None:
        sure = later(sure, p.entered.high)  # by then all of them did
    good = conditions.good_again(in_fault) or conditions.not_lost.sure
    ways = conditions.good_and_high(in_fault)
    goods = [own for _, own in ways] + ([] if good is None else [good])
    if goods and not any(_may_await_return(p, stamp, world) for stamp in goods):
        return sure
    if return_ is None or not ways:
        return None if in_fault or p.event == "returned" else sure
    return_us, rate = return_.max_us, world.rate_ppm
    starts = [
        later(limit_at(high), limit_at(own).plus(return_us, rate))
        if _may_await_return(p, own, world)
        else limit_at(high)
        for high, own in ways
    ]
    sure = later(sure, min(starts, key=lambda start: start.last_us))
    if good is not None and _may_await_return(p, good, world):
        sure = later(sure, limit_at(good).plus(return_us, rate))
    if in_fault and conditions.all_good.possible is None and conditions.good_broken is not None:
        # What the wait for all sensors held up comes no sooner than that wait ends, by a further loss too.
        sure = later(sure, limit_at(conditions.good_broken))
    return sure


def _may_await_return(p: Possibility, good: Stamp, world: World) -> bool:
    """Whether a sensor good again since `good` may not yet count as such.

    A loss that began in the present mode and did not end it was too short to be noticed; of several sensors,
    all of which must be lost, one alone may have been noticed all the same.
    """
    if p.state not in _FAULTY and p.supplied is not None and good.latest_us <= p.supplied.latest_us:
        return False  # good ever since the supply came
    entered = p.entered.high
    alone = len(world.parameters.sensors) > 1 and world.parameters.rules.lost_when == "all"
    return alone or p.state in _FAULTY or entered is None or good.earliest_us <= entered.last_us


def _clears_from(p: Possibility, world: World, sure: Limit, good: Stamp | None) -> Limit | None:
    """The same for the clear, which waits for the entry and for a sensor that was lost to count as good again."""
    if p.entered.high is None:
        return None
    sure = later(sure, p.entered.high)
    if good is None or p.supplied is None or not _may_await_return(p, good, world):
        return sure
    return_ = world.parameters.timing.return_
    return None if return_ is None else later(sure, limit_at(good).plus(return_.max_us, world.rate_ppm))


def _hold_due(p: Possibility, world: World) -> Due | None:
    rules = world.parameters.rules
    if p.hold is None or (p.state == "post_leak_hold_lost" and rules.hold_when_lost not in ("run", None)):
        return None
    window = p.hold
    must = p.state != "post_leak_hold" or p.hold_before is None  # else it may also stand still
    must = must and not (p.state == "post_leak_hold_lost" and rules.hold_when_lost is None)
    if rules.hold_ends_only_when == "low" and not world.conditions.surely(Needs.LOW):
        kept = p.state == "post_leak_hold_lost" and world.conditions.low_or_lost
        if not kept and not any(map(world.conditions.possible_now, (Needs.LOW, Needs.LOST))):
            return None
        must, window = False, window._replace(high=None)  # low, or lost: it may end or wait
    elif rules.hold_ends_only_when == "low" and window.high is not None:
        sure = world.conditions.since[Needs.LOW].sure
        assert sure is not None
        window = window._replace(high=later(window.high, limit_at(sure)))
    return Due("hold_over", _not_before_entry(window.not_before(p.entered.low), p), None, must)


def fire(p: Possibility, due: Due, world: World) -> list[Possibility]:
    """What the possibility becomes if the event falls within its window."""
    good: bool | None = world.conditions.surely(Needs.GOOD)
    if not good and world.conditions.possible_now(Needs.GOOD):
        good = None
    if good and p.state.endswith("_lost") and world.conditions.all_good.sure is None:
        good = None  # one sensor of those that were all lost may keep a loss that was noticed
    memory = Memory(p.mitigation, p.latched, good)
    if due.event == "reset_asked" and p.mode in MITIGATING:
        return [p._replace(latched=False)]
    reached: list[Possibility] = []
    runs_on = p.state == "post_leak_hold" and world.parameters.rules.hold_when_lost == "run"
    if due.event == "lost" and runs_on and holds.ran_out(p, due.window, world):
        return reached
    if due.event == "reset_asked" and not _good_for_long(world, due.window.opens_us):
        reached.append(_entered(p, "sensor_fault", due, world))  # it waits for the return, unlatched
    for state in targets(p.state, due.event, world.parameters.rules, memory):
        q = _entered(p, state, due, world)
        if due.event == "supply_lost":
            reached += _remember(p, q, world)
            continue
        reached += _held(q, due, world)
        if (
            due.event == "lost"
            and p.mode in MITIGATING
            and not p.latched
            and world.parameters.rules.latching is not False
        ):
            reached.append(q._replace(latched=True))  # a loss within the mitigation may latch or not
    return reached if world.cut is None else [in_the_dark(q, world) for q in reached]


def over_before(p: Possibility, world: World) -> list[Possibility]:
    """What a possibility that a loss leads no further from has been since its hold was over."""
    hold = p.hold_before or p.hold
    return [p] if hold is None else fire(p, Due("hold_over", hold, None), world)


def _held(q: Possibility, due: Due, world: World) -> list[Possibility]:
    """A possibility just entered; if it is a hold, as the sensors let it run."""
    low = world.conditions.since[Needs.LOW].sure
    if q.state != "post_leak_hold" or (low is not None and q.hold_before is None):
        return [q]
    return holds.on_condition(q, low or due.window.origin, world)


def _entered(p: Possibility, state: str, due: Due, world: World) -> Possibility:
    event, entered = due.event, due.window
    timing, rate = world.parameters.timing, world.rate_ppm
    outputs = world.parameters.outputs
    # A return that releases nothing may count as one or not, and so may a hold that ends in a fault.
    either = event == "returned" and (p.mode in MITIGATING or MODES[state] in MITIGATING)
    either = either or (event == "hold_over" and MODES[state] is Mode.SENSOR_FAULT)
    # So may the end of a fault by its reset.
    either = either or event == "reset_asked"
    locks = tuple(lock_of(o, lock, event, entered, either) for o, lock in zip(outputs, p.locks, strict=True))
    if event == "booted":
        # The contact that passed its call lets go: the pulse before may be too short to be seen.
        locks = tuple(
            lock if o.modes[Mode.UNPOWERED] is Policy.OFF
            else lock_of(o, lock, "off", entered.plus(o.react_off, rate), either=True)
            for o, lock in zip(outputs, locks, strict=True)
        )  # fmt: skip
    mode = MODES[state]
    latched = state == "sensor_fault_latched" or (
        p.latched and event != "reset_asked" and state != "start_up"
    )
    q = p._replace(
        state=state, entered=entered, event=event, latched=latched, opened=frozenset(), locks=locks,
        expects=order_outputs(p._replace(locks=locks), mode, event, entered, due.base, world),
        mitigation=None if state == "start_up" else p.mitigation,
        way=p.way if mode is Mode.POST_LEAK_HOLD else 0,
    )  # fmt: skip
    if event == "cleared" or (state == "post_leak_hold" and p.state == "sensor_fault"):
        longest_us = None if timing.hold is None else timing.hold.max_us
        hold = entered.plus(timing.hold, rate)
        return q._replace(hold=hold, longest_us=longest_us, hold_before=None, left_us=None, way=due.way)
    if event == "tripped":
        ghost = (p.hold_before or p.hold) if p.state.startswith("post_leak_hold") else p.ghost
        return q._replace(hold=None, hold_before=None, left_us=None, ghost=ghost)
    if event == "lost" and p.state == "post_leak_hold":
        return holds.at_loss(p, q, world)
    if state == "post_leak_hold" and q.left_us is not None:
        low, high = entered.low, entered.high
        if event == "booted" and p.supplied is not None:  # runs on from anywhere in the start-up
            low = limit_at(p.supplied)
            high = low.plus(timing.warm_up.max_us, rate)
        window = Window(
            low.plus(q.left_us[0], rate),
            None if high is None or q.left_us[1] == NEVER_US else high.plus(q.left_us[1], rate),
            entered.origin,
            causal=False,
        )
        if q.hold is not None:  # not stated whether it stood still or ran on
            window = window.hull(q.hold)
        return q._replace(hold=window, left_us=None)
    if event == "supply_lost":
        return q._replace(hold=None, hold_before=None, left_us=None, ghost=None, supplied=None)
    if MODES[state] not in MITIGATING:
        return q._replace(hold=None, hold_before=None, left_us=None, ghost=None)
    if event == "returned" and state == "post_leak_hold" and q.hold is not None and q.hold.high is None:
        # Whatever became of it meanwhile, no more than a full hold is left.
        most = (
            None
            if timing.hold is None or entered.high is None
            else entered.high.plus(timing.hold.max_us, rate)
        )
        return q._replace(hold=q.hold._replace(high=most))
    if event == "returned" and state == "leak_active":
        return q._replace(hold=None, hold_before=None, left_us=None)
    return q


def order_outputs(
    p: Possibility, mode: Mode, event: str, entered: Window, base: Window | None, world: World
) -> tuple[Expect, ...]:
    """The orders of all outputs after a change to `mode`."""
    if event == "supply_lost":
        return p.expects
    span = world.parameters.qualification("trip" if event == "tripped" else "loss")
    least_us = 0 if span is None else span.min_us
    expects = p.expects
    if world.cut is not None and p.state != "unpowered":  # what it orders now is due if it rides through
        expects = tuple(e._replace(free=False) for e in expects)
    return tuple(
        on_entry(output, old, p, mode, event, entered, base, world.calls, lock, world.rate_ppm, least_us)
        for output, old, lock in zip(world.parameters.outputs, expects, p.locks, strict=True)
    )


def in_the_dark(p: Possibility, world: World) -> Possibility:
    """The same without supply: nothing is judged but what stays off in every mode that may come."""
    rules = world.parameters.rules
    if p.state == "unpowered":
        memories = [Memory(p.mitigation, p.latched)]
        modes = set()
    else:  # as long as it may ride through, also the mode it is in
        memories = [Memory(mitigation, p.latched) for mitigation in _remembered(p, world)]
        modes = {p.mode}
    if p.latched and world.cut is not None and rules.reset_supply_off_us is not None:
        memories += [Memory(memory.mitigation, False) for memory in memories]
    modes |= {MODES[state] for m in memories for state in targets("unpowered", "booted", rules, m)}
    rides = p.state != "unpowered"
    expects = (
        without_supply(o, e, modes, rides) for o, e in zip(world.parameters.outputs, p.expects, strict=True)
    )
    return p._replace(expects=tuple(expects))


def _remembered(p: Possibility, world: World) -> list[str | None]:
    """What of the mitigation the board may still know once its supply is gone for good."""
    rule = world.parameters.rules.after_supply_loss
    if p.mode not in MITIGATING:
        return [None]
    ways: list[str | None] = []
    if rule in ("forget", None):
        ways.append(None)
    # What a hold that waits for its sensor, to begin afresh, goes on with: the hold, or the leak before it.
    afresh = world.parameters.rules.hold_when_lost in ("restart", None) and _was_lost(p, world)
    if rule in ("restart_hold", None) or (rule == "resume" and (p.mode is Mode.LEAK_ACTIVE or afresh)):
        ways.append("leak")
    if rule in ("resume", None) and p.mode is Mode.POST_LEAK_HOLD:
        ways.append("hold")
    return ways


def _remember(p: Possibility, q: Possibility, world: World) -> list[Possibility]:
    """What the board may be when its supply is gone for good: `q`, with each memory that it may have."""
    ways = []
    for mitigation in _remembered(p, world):
        way = q._replace(mitigation=mitigation)
        if mitigation == "hold":
            hold = p.hold_before or p.hold
            left = (
                None
                if hold is None or world.cut is None
                else holds.left_of(hold, holds.began_to_stop(p, world), q.entered)
            )
            # Both, where it is not said whether it stood still before the cut.
            way = way._replace(left_us=left_hull(left, p.left_us))
        ways.append(_as_before(in_the_dark(way, world), p, q.entered.closes_us or NEVER_US))
    return ways


def _was_lost(p: Possibility, world: World) -> bool:
    """Whether a sensor loss may have disturbed the hold."""
    conditions = world.conditions
    by_loss = p.hold_before is not None and conditions.not_low_by_loss
    return p.state == "post_leak_hold_lost" or by_loss or conditions.possible_now(Needs.LOST)


def powered_again(p: Possibility, stamp: Stamp, off: tuple[int, int], world: World) -> Sequence[Possibility]:
    """An unpowered board whose supply is back after `off` (least, most us): its latch may be reset."""
    reset = world.parameters.rules.reset_supply_off_us
    outputs = world.parameters.outputs
    locks = tuple(
        lock_of(o, forgettable(lock), "supplied", at(stamp)) for o, lock in zip(outputs, p.locks, strict=True)
    )
    booting = p._replace(supplied=stamp, locks=locks, opened=frozenset())
    ways = [booting]
    if p.latched and reset is not None and off[1] >= reset:
        free = booting._replace(latched=False)
        ways = [free] if off[0] >= reset else [booting, free]
    return [_as_before(in_the_dark(way, world), p, stamp.latest_us) for way in ways]


def _as_before(q: Possibility, p: Possibility, last_us: int) -> Possibility:
    """Until `last_us` an output may have gone on in `q` as it might in `p`."""
    return q._replace(
        expects=tuple([
            e._replace(claims=(Claim(True, -NEVER_US, last_us),) if not old.never_on else
                       tuple([c._replace(last_us=min(c.last_us, last_us)) for c in old.claims]))
            for e, old in zip(q.expects, p.expects, strict=True)
        ])
    )  # fmt: skip


def remembering(p: Possibility, world: World) -> list[Possibility]:
    """What a board may be that was cut off in mitigation or with a latched fault before the run began.

    Empty where the profile says that nothing is remembered.
    """
    rules, hold = world.parameters.rules, world.parameters.timing.hold
    ways = []
    if rules.after_supply_loss != "forget":
        ways.append(p._replace(mitigation="leak"))
        if rules.after_supply_loss != "restart_hold":
            left = (0, NEVER_US if hold is None else hold.max_us)
            ways.append(p._replace(mitigation="hold", left_us=left))
    if rules.latching is not False:
        ways += [way._replace(latched=True) for way in (p, *ways)]
    return ways


def initial(world: World, snapshot: Stamp, levels: Mapping[str, bool]) -> Possibility:
    """A board without supply, whatever its outputs read."""
    expects = tuple(Expect(want=levels[output.name]) for output in world.parameters.outputs)
    p = Possibility(
        state="unpowered", entered=at(snapshot), event="supply_lost", expects=expects,
        locks=(None,) * len(expects),
    )  # fmt: skip
    return in_the_dark(p, world)
