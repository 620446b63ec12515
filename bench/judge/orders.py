"""What an output must show: after a change of mode, of its call, of the supply.

Rulings of the fine points that live here: reaction follows the hidden change;
between the first output's trip and its own an output may still follow; follow
counts from the later of the call change and the instant the output began to
follow; a superseded order may still show within its own window.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass

from bench.judge.possibility import NEVER_US, Claim, Expect, Order, Possibility, begun_by, few, forgettable
from bench.judge.window import Limit, Stamp, Window, at, later, limit_at
from firmware_ref.alarm import PAIR
from firmware_ref.parameters import MITIGATING, Interval, Mode, Output, Policy

#: What the first move after an event answers.
EVENT_REQUIREMENT: Mapping[str, str] = {
    "booted": "power-up",
    "warmed_up": "power-up",
    "tripped": "trip",
    "cleared": "clear",
    "hold_over": "hold",
    "lost": "loss",
    "returned": "return",
    "self_test_asked": "self-test",
    "self_test_over": "self-test",
    "reset_asked": "button",
}


def beside(requirement: str, event: str) -> tuple[str, ...]:
    """What a move that a restart delay held up answers as well: a composite names both."""
    return (EVENT_REQUIREMENT[event],) if requirement == "restart" and event in EVENT_REQUIREMENT else ()


_OVERRIDING = frozenset({*MITIGATING, Mode.SENSOR_FAULT})
#: Whether a self-test overrides a restart delay is not said.
MAY_OVERRIDE = frozenset({*_OVERRIDING, Mode.SELF_TEST})
_LONG_AGO = Stamp(-NEVER_US, 0)
#: An edge is taken up at its latest instant; until then what it answers must be remembered.
TOLD_LATE_US = 25_000


@dataclass(slots=True)
class Call:
    """A call's state at the board's terminal, when it last changed, and the time before that."""

    on: bool = False
    stamp: Stamp = _LONG_AGO
    before: Stamp = _LONG_AGO


def wanted(output: Output, policy: Policy, calls: Mapping[str, Call]) -> bool:
    """The level that a policy asks for with the present calls."""
    call_on = output.call is not None and calls[output.call].on
    if policy is Policy.FOLLOW:
        return call_on
    return policy is Policy.ON and (output.feed != "call" or call_on)


def react(output: Output, want: bool) -> Interval:
    return output.react_on if want else output.react_off


def follow(output: Output, want: bool) -> Interval:
    return output.follow_on if want else output.follow_off


def on_entry(
    output: Output,
    old: Expect,
    was: Possibility,
    now: Mode,
    event: str,
    entered: Window,
    base: Window | None,
    calls: Mapping[str, Call],
    lock: Window | None,
    rate_ppm: int,
    qualified_us: int = 0,
) -> Expect:
    """The order that a change of mode gives one output.

    `base` is the window in which the qualification began, for `tripped` and
    `lost`, whose limits are totals from there to the output's terminals; None
    where no total applies, `qualified_us` the least time from there to the
    change of mode.  `lock`: what the output's restart delay counts from.
    """
    before, after = was.policy(output), output.modes[now]
    if before is after and not old.free:
        kept = still_locked(output, old, event, lock, rate_ppm)
        return _ordered_twice(output, kept, event, entered, base, rate_ppm)
    want, requirement = wanted(output, after, calls), _answers(event, was, now)
    due = _entry_due(output, want, event, entered, base, rate_ppm)
    slowest_us: int | None = react(output, want).max_us
    total = base is not None and event in ("tripped", "lost")
    if total:
        limits = output.trip if event == "tripped" else output.loss
        slowest_us = None if limits is None else limits.max_us - qualified_us
    if old.requirement == "supply" and old.want == want and old.due is not None:
        # What the supply's return brings back comes in its own time, whatever orders it now.
        high = None if due.high is None or old.due.high is None else later(due.high, old.due.high)
        due = due._replace(high=high)
    begins, locked = due.high, None
    if want and lock is not None and not (after is Policy.ON and now in _OVERRIDING):
        due, requirement, locked = _locked(output, due, requirement, lock, rate_ppm, now, entered.opens_us)
        if locked is None:  # nobody knows until when
            slowest_us = None
    until = due.closes_us or NEVER_US
    claims = _superseded(old, until, before is Policy.FOLLOW, entered)
    if requirement == "restart":  # one that is on as its delay begins may go off and wait
        last_us = NEVER_US if entered.high is None else _let_go(output, entered.high, rate_ppm)
        claims = (*claims, Claim(False, entered.opens_us, last_us))
    if old.free and not want and output.modes[Mode.UNPOWERED] is not Policy.OFF:
        # A contact that rests closed, or passes its call, may show it for the first time as it lets go.
        claims = (*claims, Claim(True, entered.opens_us, until))
    unseen = _unseen_at(output, after, calls, entered, rate_ppm)
    unseen_us = follow(output, want).max_us
    if unseen is not None:
        # A call that changed just before may still show as it was, and follow counts from the later.
        if not total:  # it may begin with the move back
            slowest_us = None if slowest_us is None else _slower_us(output)
            if begins is not None and entered.high is not None:
                begins = later(begins, entered.high.plus(_slower_us(output), rate_ppm))
        last = unseen.last_us if begins is None else min(unseen.last_us, begins.last_us)
        claims = (*claims, Claim(not want, entered.opens_us, last, True, begins=True))
        if due.high is not None and begins is not None:
            due = due._replace(high=later(due.high, begun_by(begins, unseen, unseen_us, rate_ppm)))
    return Expect(
        want=want,
        due=due,
        stated=due,
        requirement=requirement,
        by_entry=True,
        react_us=slowest_us,
        begins=begins,
        locked=locked,
        unseen=unseen,
        unseen_us=unseen_us,
        follow_until_us=_follows_until(output, before, old, until, entered, rate_ppm),
        claims=claims,
        dropped=_dropped(old, want),
    )


def _ordered_twice(
    output: Output, old: Expect, event: str, entered: Window, base: Window | None, rate_ppm: int
) -> Expect:
    """A move that is still due, ordered once more by a trip or a loss whose total may be over sooner.

    An alarm contact that still has to open may do so in the new mode's time too: the other one waits for it.
    """
    opens = output.name in PAIR and not old.want
    if old.due is None or not (opens or base is not None) or not old.due.open_after(entered.opens_us):
        return old
    due = _entry_due(output, old.want, event, entered, base, rate_ppm)
    again = Claim(old.want, due.opens_us, due.closes_us or NEVER_US)
    return old._replace(claims=few([*old.claims, again]))


def _dropped(old: Expect, want: bool) -> Order | None:
    """What had not been carried out of the order before, if the new one is to the contrary."""
    if old.free or old.due is None or old.due.high is None or old.want == want:
        return None
    return Order(old.want, old.due, old.requirement)


def _answers(event: str, was: Possibility, now: Mode) -> str:
    """The requirement that the first move after a change of mode answers."""
    if event == "tripped" and was.state.startswith("post_leak_hold"):
        return "re-leak"
    if event == "returned" and was.mode in MITIGATING:
        return "forced"
    if event == "booted" and now in MITIGATING:  # what the supply's loss must not have ended
        return "supply"
    return EVENT_REQUIREMENT[event]


def _superseded(old: Expect, until_us: int, by_call: bool, entered: Window) -> tuple[Claim, ...]:
    """What the order before may still show, up to `until_us`."""
    if old.free:
        return ()
    return tuple(c for c in old.carried(until_us, by_call) if c.last_us >= entered.opens_us - TOLD_LATE_US)


def _follows_until(
    output: Output, before: Policy, old: Expect, until_us: int, entered: Window, rate_ppm: int
) -> int:
    """Until when the output may still follow its call, as in the mode before."""
    if before is not Policy.FOLLOW:
        return 0
    if old.free and entered.high is not None:  # a resting contact that has not let go
        return entered.high.plus(_slower_us(output), rate_ppm).last_us
    return until_us


def _slower_us(output: Output) -> int:
    return max(output.react_on.max_us, output.react_off.max_us)


def _unseen_at(
    output: Output, policy: Policy, calls: Mapping[str, Call], entered: Window, rate_ppm: int
) -> Limit | None:
    """Until when an output that begins to follow may not have seen its call's last change; None: it has by then."""
    if policy is not Policy.FOLLOW:
        return None
    unseen = unseen_until(output, calls, rate_ppm)
    return None if unseen is None or unseen.last_us < entered.opens_us else unseen


def unseen_until(output: Output, calls: Mapping[str, Call], rate_ppm: int) -> Limit | None:
    """Until when the board may not yet have seen the last change of the output's call."""
    if output.call is None:
        return None
    call = calls[output.call]
    return limit_at(call.stamp).plus(follow(output, call.on).max_us, rate_ppm)


_LOCKING = {
    "hold_over": "release", "returned": "return", "reset_asked": "return", "supplied": "power-up", "off": "any-off",
}  # fmt: skip


def locks(output: Output, event: str) -> bool:
    """Whether the output's restart delay counts from such an event."""
    return output.restart is not None and _LOCKING.get(event) in output.restart.after


def lock_of(
    output: Output, old: Window | None, event: str, instant: Window, either: bool = False
) -> Window | None:
    """What the output's restart delay counts from after `event` at `instant`; `old`: before it.

    `either`: the event may count or not.
    """
    if not locks(output, event):
        return old
    if not either:
        return instant
    return forgettable(instant) if old is None else old.hull(instant)


def unseen_off(output: Output, old: Expect, on: bool, call: Call, lock: Window | None) -> Window | None:
    """The lock after a call that went off: the output may have been on too short a time to be seen."""
    due = old.due
    shown = not on and old.want and due is not None and due.opens_us <= call.stamp.latest_us
    if call.on or output.feed != "call" or not shown:
        return lock
    return lock_of(output, lock, "off", at(call.stamp), either=True)


def still_locked(output: Output, old: Expect, event: str, lock: Window | None, rate_ppm: int) -> Expect:
    """An order to go on that stands through an event from which its restart delay may count afresh."""
    due = old.due
    if due is None or due.high is None or lock is None or not old.want or not locks(output, event):
        return old
    high = _lets_go(output, lock, rate_ppm)
    if high is not None and high.last_us <= due.high.last_us:
        return old
    due = due._replace(high=high, origin=lock.origin)
    return old._replace(due=due, stated=due, requirement="restart", locked=high, by_entry=False)


def _let_go(output: Output, begins: Limit, rate_ppm: int) -> int:
    """Until when an output whose restart delay has begun by `begins` may go off, if it was on."""
    return begins.plus(output.react_off.max_us, rate_ppm).last_us


def _lets_go(output: Output, lock: Window, rate_ppm: int) -> Limit | None:
    """When an output that its restart delay held up is on at the latest; None: nobody knows."""
    assert output.restart is not None
    span_us = output.restart.delay.max_us + react(output, True).max_us
    return None if lock.high is None else lock.high.plus(span_us, rate_ppm)


def _locked(
    output: Output, due: Window, requirement: str, lock: Window, rate_ppm: int, mode: Mode, wanted_us: int
) -> tuple[Window, str, Limit | None]:
    """An order to go on that may fall into the restart delay: on not before its min, by its max and react.

    `wanted_us`: when it was given at the earliest.
    Mitigation and sensor-fault override the delay; whether they do for an output that follows is not said.
    The limit is the delay's own end, None where there is none.  A delay that is surely over holds nothing up.
    """
    assert output.restart is not None
    over = None if lock.high is None else lock.high.plus(output.restart.delay.max_us, rate_ppm)
    if over is not None and over.last_us < wanted_us:
        return due, requirement, over
    first = lock.low.plus(output.restart.delay.min_us, rate_ppm)
    if first.first_us > due.low.first_us and mode not in MAY_OVERRIDE:
        due, requirement = due.not_before(first)._replace(origin=lock.origin, causal=False), "restart"
    last = _lets_go(output, lock, rate_ppm)
    if last is None:
        return due._replace(high=None), requirement, None
    if due.high is not None and last.last_us > due.high.last_us:
        due, requirement = due._replace(high=last, origin=lock.origin), "restart"
    return due, requirement, last


def _entry_due(
    output: Output, want: bool, event: str, entered: Window, base: Window | None, rate_ppm: int
) -> Window:
    if base is not None and event in ("tripped", "lost"):
        total = output.trip if event == "tripped" else output.loss
        return base.plus(total, rate_ppm).not_before(entered.low)
    return entered.plus(react(output, want), rate_ppm)


def on_call(
    output: Output, old: Expect, p: Possibility, call: Call, lock: Window | None, stamp: Stamp, rate_ppm: int
) -> Expect:
    """The order after the output's call changed to `call.on` at `stamp`."""
    if old.free:
        return old
    limits = follow(output, call.on)
    if p.policy(output) is not Policy.FOLLOW:
        if old.follow_until_us < stamp.earliest_us:
            return old
        last = old.follow_until_us
        if not call.on or lock is None:  # else the restart delay may hold it up
            last = min(last, stamp.latest_us + limits.max_us)
        claims = _ended(old.claims, call, output)
        return old._replace(claims=few([*claims, Claim(call.on, stamp.earliest_us, last, by_call=True)]))
    due = at(stamp).plus(limits, rate_ppm)
    passes = False
    if output.feed == "call" and call.on:
        # A relay that had not yet let go passes its call again at once.
        passes = stamp.earliest_us - call.before.latest_us <= output.follow_off.max_us
        if passes:
            due = due._replace(low=limit_at(stamp), causal=True)
    requirement = "follow"
    pending_entry = old.by_entry and old.due is not None and old.due.open_after(stamp.earliest_us)
    unseen = limit_at(stamp).plus(limits.max_us, rate_ppm) if pending_entry else None
    if pending_entry:  # the move that the mode ordered has not been seen: it is still that move
        assert old.due is not None and due.high is not None
        requirement = old.requirement
        # Follow counts from when the output began to follow, which may be as late as the move was due.
        high = None if old.begins is None else begun_by(old.begins, unseen, limits.max_us, rate_ppm)
        due = old.due.not_before(limit_at(stamp))._replace(high=high)
        if requirement == "restart":  # only a move to on waits for that
            due, requirement = Window(limit_at(stamp), high, stamp), "follow"
    locked = None
    if call.on and lock is not None:
        due, requirement, locked = _locked(
            output, due, requirement, lock, rate_ppm, p.mode, stamp.earliest_us
        )
    claims = old.claims
    if old.want != call.on:
        claims = old.carried(NEVER_US if unseen is None else unseen.last_us, True, begins=pending_entry)
    if call.on and old.follow_until_us >= stamp.earliest_us:  # as the mode before would have shown it
        last = min(old.follow_until_us, stamp.latest_us + limits.max_us)
        claims = (*claims, Claim(True, stamp.earliest_us, last, by_call=True))
    if pending_entry and not old.want and requirement == "restart":  # as on entry: it may go off, and wait
        assert old.due is not None
        claims = (*claims, Claim(False, old.due.opens_us, old.due.closes_us or NEVER_US))
    if passes and requirement == "restart":
        claims = (*claims, Claim(True, stamp.earliest_us, stamp.latest_us + limits.max_us, by_call=True))
    claims = _ended(claims, call, output)
    return Expect(
        want=call.on,
        due=due,
        stated=due,
        requirement=requirement,
        by_entry=pending_entry,
        react_us=old.react_us if pending_entry else None,
        begins=old.begins if pending_entry else None,
        locked=locked,
        unseen=unseen,
        unseen_us=limits.max_us,
        follow_until_us=old.follow_until_us,
        claims=tuple(c for c in claims if c.last_us >= stamp.earliest_us - TOLD_LATE_US),
    )


def _ended(claims: tuple[Claim, ...], call: Call, output: Output) -> tuple[Claim, ...]:
    """What a call asked for before it changed shows no later than the change must be followed.

    A change that was taken back within that time may have been swallowed: then it ended nothing.
    """
    last_us = call.stamp.latest_us + follow(output, call.on).max_us
    swallowed = call.stamp.earliest_us - call.before.latest_us <= follow(output, not call.on).max_us
    ended = []
    for c in claims:
        if c.by_call and c.on != call.on:
            c = c._replace(last_us=min(c.last_us, last_us), whole_us=max(c.whole_us, c.last_us))
        elif c.by_call and swallowed and c.whole_us > c.last_us:
            c = c._replace(last_us=c.whole_us)
        ended.append(c)
    return tuple(ended)


def without_supply(output: Output, old: Expect, coming: Collection[Mode], rides: bool) -> Expect:
    """No order: the supply is gone, or back and the board not yet up; the modes `coming` may come then.

    What was due stays, for a board that `rides` through; until it has gone off the output may still show as on.
    """
    off = all(output.modes[mode] is Policy.OFF for mode in (Mode.UNPOWERED, *coming))
    claims = [c for c in old.claims if c.on]
    if rides and not old.want and old.due is not None:
        claims.append(Claim(True, -NEVER_US, old.due.closes_us or NEVER_US))
    return old._replace(free=True, never_on=off, claims=few(claims) if off else ())


def after_dip(
    output: Output, old: Expect, p: Possibility, calls: Mapping[str, Call], lock: Window | None, stamp: Stamp,
    rate_ppm: int,
) -> Expect:  # fmt: skip
    """The order after a dip that the board rode through: as before, within follow of the supply's return.

    A move that was still due before the dip stays due.
    """
    want = wanted(output, p.policy(output), calls)
    due = at(stamp).plus(follow(output, want), rate_ppm)
    assert due.high is not None
    # Off it may go until what is no order to on must have shown.
    off_us = [due.high.last_us, *(c.last_us for c in old.claims if not c.on)]
    if old.due is not None and old.due.open_after(stamp.earliest_us):
        due = due._replace(high=None if old.due.high is None else later(old.due.high, due.high))
        if not (want and old.want):
            off_us.append(due.closes_us or NEVER_US)
    if want and lock is not None:  # a call that came in the dark, or that its delay held up before
        held, _, _ = _locked(output, due, "supply", lock, rate_ppm, p.mode, stamp.earliest_us)
        due = due._replace(high=held.high)
    claims = (Claim(True, -NEVER_US, due.closes_us or NEVER_US), Claim(False, -NEVER_US, max(off_us)))
    if not (old.by_entry and old.due is not None and old.due.open_after(stamp.earliest_us)):
        return Expect(want=want, due=due, stated=due, requirement="supply", claims=claims)
    begins = None if old.begins is None or due.high is None else later(old.begins, due.high)
    # Outputs that the hold's end releases come back each in its own time.
    requirement = "supply" if old.requirement == "hold" else old.requirement
    fed = limit_at(stamp).plus(follow(output, want).max_us, rate_ppm)
    return Expect(
        want=want, due=due, stated=due, requirement=requirement, by_entry=True,
        react_us=old.react_us, begins=begins, locked=old.locked,
        unseen=fed if old.unseen is None else later(old.unseen, fed), unseen_us=old.unseen_us, claims=claims,
    )  # fmt: skip


def in_force(output: Output, p: Possibility, lost: bool) -> str:
    """The requirement that an edge breaks which the present policy does not allow."""
    policy, mode = p.policy(output), p.mode
    if mode in (Mode.START_UP, Mode.UNPOWERED):
        return "power-up"
    if policy is Policy.FOLLOW or mode is Mode.NORMAL:
        return "follow"
    if mode in MITIGATING:
        if lost or p.state.endswith("_lost"):
            return "kept-on-loss"
        return "blocked" if policy is Policy.OFF else "forced"
    if mode is Mode.SELF_TEST:
        return "self-test"
    return "latch" if p.latched else "loss"
