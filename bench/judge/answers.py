"""What an output's move tells: about itself, and about when the other outputs must move."""

from __future__ import annotations

from bench.judge import orders
from bench.judge.events import Change, Flicker
from bench.judge.possibility import Possibility, begun_by
from bench.judge.window import Limit, Stamp, Window, at, later, limit_at
from bench.judge.world import World


def moved(p: Possibility, place: int, change: Change, way: str, world: World) -> Possibility:
    """The possibility after an allowed change; `way` is how it was allowed (`Expect.admits`)."""
    expect, output = p.expects[place], world.parameters.outputs[place]
    if way == "due" and change.on and expect.requirement == "restart":
        p = _entered_before(p, place, change.stamp, world)
    if not change.on:
        # Where the supply took it, the off may count or not.
        unfed = world.cut is not None or p.expects[place].free
        lock = orders.lock_of(output, p.locks[place], "off", at(change.stamp), either=unfed)
        p = locked(p, place, lock)
    if way == "claim" and expect.by_entry and expect.begun_by_claim(change.on, change.stamp):
        p = p.with_expect(place, expect.begun(change.stamp, world.rate_ppm)._replace(by_entry=False))
    elif way == "due":
        p = p.with_expect(place, expect.done(change.stamp))
    if way == "claim" and not change.on:  # what it goes on by, the restart delay may now hold up
        waits = orders.still_locked(output, p.expects[place], "off", p.locks[place], world.rate_ppm)
        p = p.with_expect(place, waits)
    if not expect.by_entry or p.expects[place].by_entry:
        return p
    fed_off = output.feed == "call" and not change.on and not world.calls[output.call or ""].on
    if fed_off or any(c.admits(change.on, change.stamp) for c in expect.claims):
        return p  # the call explains it as well
    if p.event != "hold_over" or expect.requirement != "hold":
        return p
    return released(_over_since(p, place, change, world), change, world)


def _entered_before(p: Possibility, place: int, stamp: Stamp, world: World) -> Possibility:
    """An output that its restart delay held up has gone on: the event that the delay counts from is as old as that."""
    output, expect = world.parameters.outputs[place], p.expects[place]
    # In mitigation and sensor-fault the delay need not be kept.
    if p.locks[place] != p.entered or p.mode in orders.MAY_OVERRIDE or output.restart is None:
        return p
    if any(c.admits(True, stamp) for c in expect.claims):  # or it answers an order before
        return p
    least_us = output.restart.delay.min_us
    spread_us = least_us * world.rate_ppm // 1_000_000
    return p.entered_by(Stamp(stamp.mid_us - least_us, stamp.half_us + spread_us), world.rate_ppm)


def _over_since(p: Possibility, place: int, change: Change, world: World) -> Possibility:
    """The first output followed again: the hold was over no longer before than that takes, and delays run from there."""
    outputs, rate = world.parameters.outputs, world.rate_ppm
    if p.expects[place].unseen is not None:  # its call had just changed, and that takes its own time
        return p
    react_us = orders.react(outputs[place], change.on).max_us
    spread_us = react_us * rate // 1_000_000
    stamp = change.stamp
    since = Limit(stamp.mid_us - react_us, stamp.half_us + spread_us, stamp.half_us)
    entered = p.entered.not_before(since)
    if entered is p.entered or p.entered not in p.locks:
        return p
    expects, locks = list(p.expects), list(p.locks)
    for n, output in enumerate(outputs):
        if locks[n] != p.entered or output.restart is None:
            continue
        locks[n] = entered
        due = expects[n].due
        if expects[n].requirement == "restart" and due is not None:
            least = entered.low.plus(output.restart.delay.min_us, rate)
            expects[n] = expects[n]._replace(due=due.not_before(least))
    return p._replace(entered=entered, expects=tuple(expects), locks=tuple(locks))


def locked(p: Possibility, place: int, lock: Window | None) -> Possibility:
    """The possibility with another event that an output's restart delay counts from."""
    if lock is p.locks[place]:
        return p
    return p._replace(locks=(*p.locks[:place], lock, *p.locks[place + 1 :]))


def released(p: Possibility, change: Change, world: World, late: bool = False) -> Possibility:
    """The first output followed again after the hold: the others must within react of it.

    `late`: later than allowed, and the others count from there.
    """
    expects = list(p.expects)
    for place, output in enumerate(world.parameters.outputs):
        expect = expects[place]
        if output.name == change.output or expect.requirement != "hold" or expect.due is None:
            continue
        lock = p.locks[place]
        if expect.want and lock is not None and lock.high is None:
            continue  # a restart delay holds it up, nobody knows until when
        rate = world.rate_ppm
        react_us = orders.react(output, expect.want).max_us if expect.react_us is None else expect.react_us
        limit = limit_at(change.stamp).plus(react_us, rate)
        limit = expect.lets(begun_by(limit, expect.unseen, expect.unseen_us, rate))
        high = expect.due.high
        if not late and high is not None and high.last_us < limit.last_us:
            limit = high
        due = expect.due._replace(high=limit, origin=change.stamp, causal=True)
        expects[place] = expect._replace(due=due, stated=due, requirement="release")
    return p._replace(expects=tuple(expects))


def flickered(p: Possibility, flicker: Flicker, world: World) -> Possibility:
    """A move that was taken back within the glitch time was made in time all the same."""
    place = world.parameters.place_of(flicker.output)
    expect, output = p.expects[place], world.parameters.outputs[place]
    went_off = Stamp(flicker.stamp.mid_us, flicker.until_us - flicker.stamp.mid_us)
    p = locked(p, place, orders.lock_of(output, p.locks[place], "off", at(went_off), either=True))
    if expect.admits(flicker.on, flicker.stamp) != "due" or expect.due is None or expect.due.high is None:
        return p
    ended = expect.due.high._replace(nominal_us=flicker.until_us)
    return p.with_expect(place, expect._replace(due=expect.due._replace(high=later(expect.due.high, ended))))
