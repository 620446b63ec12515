"""The hold: stopped by a loss or a cut, disturbed while the sensors are not low, going on again."""

from __future__ import annotations

from functools import reduce

from bench.judge.possibility import MIXED, NEVER_US, Possibility
from bench.judge.window import Limit, Stamp, Window, earlier, later, limit_at
from bench.judge.world import World
from firmware_ref.machine import Needs

#: Holds that go on in more ways than these are taken together.
MOST_WAYS = 3


def at_loss(p: Possibility, q: Possibility, world: World) -> Possibility:
    """The possibility `q`, which `p` becomes when a loss qualifies in the hold, with the hold as `hold_when_lost` says."""
    rule = world.parameters.rules.hold_when_lost
    began, hold = _disturbed_from(p, world), p.hold_before or p.hold
    if hold is None:
        return q
    # It stood still, or began afresh, while the sensors were not low, and need not have gone on since.
    runs = hold if _undisturbed(p, world) else hold._replace(high=None)
    if rule == "run":
        return q._replace(hold=runs, hold_before=None)
    if rule == "restart":
        return q._replace(hold=None, hold_before=None, left_us=None)
    left = left_of(hold, began, q.entered)
    stands = rule == "pause" or ran_out(p, q.entered, world)
    return q._replace(hold=None if stands else runs, hold_before=None, left_us=left)


def _disturbed_from(p: Possibility, world: World) -> Stamp:
    lost = world.conditions.since[Needs.LOST].possible or p.entered.origin
    return lost if p.hold_before is None else world.conditions.not_low_began or lost


def _undisturbed(p: Possibility, world: World) -> bool:
    """Whether nothing but a loss that has qualified has come over the hold: one that runs on has not stood still."""
    lost = world.conditions.since[Needs.LOST]
    return lost.possible is not None and _disturbed_from(p, world) == lost.possible == lost.sure


def ran_out(p: Possibility, noticed: Window, world: World) -> bool:
    """Whether a hold that runs on through a loss, `noticed` then, would have been over before."""
    hold = p.hold_before or p.hold
    if hold is None or hold.high is None or world.parameters.rules.hold_ends_only_when == "low":
        return False
    return _undisturbed(p, world) and hold.high.last_us < noticed.opens_us


def left_of(hold: Window, began: Stamp, stopped: Window) -> tuple[int, int]:
    """Least and most that is left of a hold stopped between `began` and the end of `stopped`; `NEVER_US`: no most."""
    last = hold.low.first_us if stopped.high is None else stopped.high.last_us
    least = max(0, hold.low.first_us - last)
    most = NEVER_US if hold.high is None else max(0, hold.high.last_us - began.earliest_us)
    return least, most


def began_to_stop(p: Possibility, world: World) -> Stamp:
    """When a hold cut off by the supply's loss may have stopped at the earliest."""
    assert world.cut is not None
    began = world.conditions.not_low_began
    return began if p.hold_before is not None and began is not None else world.cut


def on_condition(p: Possibility, stamp: Stamp, world: World) -> list[Possibility]:
    """The hold while the sensors are not, or not surely, low, and when they are low again: the ways it may go on.

    `hold_on_band`: continue, pause (what is left runs from low again), restart
    (a full hold from low again); not stated: any of them.  A disturbance
    shorter than the trip's min may go unseen, and so may a loss that has not
    qualified; such a loss may also disturb the hold as the rules say.
    """
    rules, conditions = world.parameters.rules, world.conditions
    undisturbed = rules.hold_on_band == "continue"
    if conditions.possible_now(Needs.LOST) or conditions.not_low_by_loss:
        undisturbed = undisturbed and rules.hold_when_lost == "run"
    if p.state == "post_leak_hold_lost" and rules.hold_on_band != "continue":
        back = conditions.possible_now(Needs.GOOD) and not conditions.surely(Needs.LOW)
        # With the sensor back, though too short to be noticed, a hold that runs on may stand still.
        return [p._replace(hold=p.hold._replace(high=None)) if back and p.hold is not None else p]
    if p.state != "post_leak_hold" or undisturbed:
        return [p]
    if not conditions.surely(Needs.LOW):
        return [_disturbed(p, stamp, world)]
    if p.hold_before is None:
        return [p]
    windows = _apart(_go_on(p, p.hold_before, stamp, world))
    return [
        p._replace(hold=w, longest_us=None, hold_before=None, way=min(p.way + n, MOST_WAYS))
        for n, w in enumerate(windows)
    ]


def _apart(windows: list[Window]) -> list[Window]:
    """The windows in order, those that touch taken together."""
    found: list[Window] = []
    for window in sorted(windows, key=lambda w: w.opens_us):
        last = found[-1] if found else None
        if last is not None and (last.high is None or last.high.last_us >= window.low.first_us):
            found[-1] = last.hull(window)
        else:
            found.append(window)
    return found


def _unseen_us(world: World) -> int:
    """How long the sensors may be not low without the board having seen it."""
    trip = world.parameters.qualification("trip")
    return NEVER_US if trip is None else trip.min_us


def _watches_from(p: Possibility, world: World) -> Limit:
    """From when the hold's own sensor surely counts: its entry, or the end of the warm-up after a cut."""
    if p.event not in ("booted", MIXED) or p.supplied is None:
        return p.entered.low
    return later(
        p.entered.low, limit_at(p.supplied).plus(world.parameters.timing.warm_up.max_us, world.rate_ppm)
    )


def _disturbed(p: Possibility, stamp: Stamp, world: World) -> Possibility:
    """The hold while the sensors are not surely low: it may stand still, or go on unseen."""
    rule, conditions = world.parameters.rules.hold_on_band, world.conditions
    before = p.hold_before or p.hold
    if before is None:
        return p
    low = None if conditions.low_fades is not None else conditions.since[Needs.LOW].possible
    began = conditions.surely_not_low or stamp
    base = before
    if low is None and conditions.not_low_began != began:
        # In a band before, where it may have stood still and run.
        base = _hull_of(_go_on(p, before, began, world))
    cap = None if low is not None else base.high  # now it cannot stand still and then go on
    may_run = rule in (None, "continue") or conditions.not_low_by_loss
    if not may_run:
        unseen_us = _unseen_us(world)
        may_run = base is not before or conditions.not_low_us(_watches_from(p, world).first_us) <= unseen_us
        if low is None:
            seen = later(limit_at(began), _watches_from(p, world)).plus(unseen_us, world.rate_ppm)
            may_run = may_run and base.low.first_us <= seen.last_us
            cap = seen if cap is None else earlier(cap, seen)
    hold = base._replace(high=cap) if may_run else None
    if hold is None and low is not None:  # in the clear's band: it may run again from here
        hold = _hull_of(_go_on(p, before, low, world))._replace(high=None)
    return p._replace(hold=hold, hold_before=before)


def _hull_of(windows: list[Window]) -> Window:
    return reduce(Window.hull, windows)


def _go_on(p: Possibility, before: Window, stamp: Stamp, world: World) -> list[Window]:
    """When the hold is over, low again at `stamp`: all the ways in which it may go on."""
    rules, rate = world.parameters.rules, world.rate_ppm
    began = world.conditions.not_low_began or before.origin
    gone_us = max(0, stamp.latest_us - began.earliest_us)
    surely_us = world.conditions.not_low_us(_watches_from(p, world).first_us)
    low = world.conditions.since[Needs.LOW].possible or world.conditions.was_low or stamp
    fresh = Window(limit_at(low), limit_at(stamp), stamp).plus(world.parameters.timing.hold, rate)
    still_us, level_us = surely_us, world.conditions.longest_by_level_us
    if world.conditions.not_low_by_loss:
        loss = world.parameters.qualification("loss")
        if level_us and rules.hold_on_band in (None, "pause"):
            still_us = min(surely_us, level_us)  # the loss may have gone unseen, the level beside it not
        elif level_us or loss is None or gone_us >= loss.min_us:
            still_us = 0  # from when the loss was noticed, which may have been at its very end
    paused = Window(
        before.low.plus(still_us, 0),
        None if before.high is None else before.high.plus(gone_us, rate),
        before.origin,
        before.causal,
    )
    if rules.hold_on_band is None:
        return [before, paused, fresh]
    if world.conditions.not_low_by_loss:
        return _after_loss(before, paused, fresh, world)
    hold = {"pause": paused, "restart": fresh, "continue": before}[rules.hold_on_band]
    return [before, hold] if surely_us <= _unseen_us(world) else [hold]


def _after_loss(before: Window, paused: Window, fresh: Window, world: World) -> list[Window]:
    """A loss that has not qualified may have disturbed the hold as either rule says, or not."""
    rules, timing = world.parameters.rules, world.parameters.timing
    ways = [before]
    if "pause" in (rules.hold_on_band, rules.hold_when_lost) or rules.hold_when_lost is None:
        ways.append(paused)
    if "restart" in (rules.hold_on_band, rules.hold_when_lost) or rules.hold_when_lost is None:
        if rules.hold_when_lost in ("restart", None):  # clear and a full hold
            for span in (timing.return_, timing.clear):
                high = (
                    None
                    if fresh.high is None or span is None
                    else fresh.high.plus(span.max_us, world.rate_ppm)
                )
                fresh = fresh._replace(high=high)
        ways.append(fresh)
    return ways
