"""One thing the board may be doing.

A possibility is a state of the reference machine, the window of the hidden
instant at which it was entered, what runs, and for each output what it must
show and by when.  Everything is frozen: a possibility that goes on two ways is
two objects.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from bench.judge.window import Limit, Stamp, Window, earlier, later, limit_at, quickly_replaced
from firmware_ref.machine import MODES
from firmware_ref.parameters import Mode, Output, Policy

#: Later than every event.
NEVER_US = 1 << 62
#: With more claims than this, those of one direction are taken together.
MANY_CLAIMS = 8
#: The event of a hull of possibilities that came by different ones.
MIXED = "mixed"


class Order(NamedTuple):
    """A move to `want` that was due, under `requirement`."""

    want: bool
    due: Window
    requirement: str


class Claim(NamedTuple):
    """An edge to `on` within these instants is explained by an order since superseded.

    `by_call`: it was the call's; `begins`: and then shows that the output has begun to follow.
    `whole_us`: until when, had the call's last change not ended it.
    """

    on: bool
    first_us: int
    last_us: int
    by_call: bool = False
    begins: bool = False
    whole_us: int = 0

    def admits(self, on: bool, stamp: Stamp) -> bool:
        return on == self.on and stamp.latest_us >= self.first_us and stamp.earliest_us <= self.last_us

    def covers(self, other: Claim) -> bool:
        """Whether everything that `other` explains is explained by this one."""
        return (
            self.on == other.on
            and self.first_us <= other.first_us
            and self.last_us >= other.last_us
            and self.whole_us >= other.whole_us
            and self.by_call <= other.by_call
            and self.begins <= other.begins
        )


def few(claims: Sequence[Claim]) -> tuple[Claim, ...]:
    """The claims themselves, or if they are many one for each direction that stands for all of it."""
    if len(claims) <= MANY_CLAIMS:
        return tuple(claims)
    hulls = []
    for on in (False, True):
        same = [c for c in claims if c.on == on]
        if same:
            first, last = min(c.first_us for c in same), max(c.last_us for c in same)
            by_call, begins = all(c.by_call for c in same), all(c.begins for c in same)
            hulls.append(Claim(on, first, last, by_call, begins, max(c.whole_us for c in same)))
    return tuple(hulls)


@quickly_replaced
class Expect(NamedTuple):
    """What one output must show.

    The move to `want` is allowed within `due` and must have happened at its
    end; without `due` the output must already be there.  `due` shrinks as more
    becomes known; `stated` is what the profile says, for the finding.  `requirement` names
    what such a move answers; `by_entry`: the hidden entry into the mode orders
    it, within `react_us` of that entry (None: the limit is a total from the
    stimulus).  `unseen`: the latest instant at which it may begin to follow
    without having seen its call's last change, which then takes `unseen_us`
    more; `begins`: the latest at all.
    `locked`: when a restart delay may let it go on at the latest.  Until
    `follow_until_us` the output may still follow its call, as in the mode before.  `free`: without supply nothing is judged, except that an
    output held off throughout (`never_on`) may not turn on.  `dropped`: the
    order before, if a change of mode came before it was carried out; a move that
    nothing else explains may be that one, too late.
    """

    want: bool
    due: Window | None = None
    stated: Window | None = None
    requirement: str = "follow"
    by_entry: bool = False
    react_us: int | None = None
    begins: Limit | None = None
    locked: Limit | None = None
    unseen: Limit | None = None
    unseen_us: int = 0
    follow_until_us: int = 0
    claims: tuple[Claim, ...] = ()
    free: bool = False
    never_on: bool = False
    dropped: Order | None = None

    def admits(self, on: bool, stamp: Stamp) -> str | None:
        """How an edge is allowed: `free`, `due`, `claim`, or None: it is not."""
        if self.free and not (on and self.never_on):
            return "free"
        if self.free:
            return "free" if any(c.admits(on, stamp) for c in self.claims) else None
        if on == self.want and self.due is not None and self.due.admits(stamp):
            return "due"
        return "claim" if any(c.admits(on, stamp) for c in self.claims) else None

    def begun_by_claim(self, on: bool, stamp: Stamp) -> bool:
        """Whether an edge that a claim explains can only mean that the output has begun to follow."""
        return all(c.begins for c in self.claims if c.admits(on, stamp))

    def done(self, stamp: Stamp) -> Expect:
        """The same, its move having been made; what it superseded can show no more."""
        if any(c.admits(self.want, stamp) for c in self.claims):  # or it was an earlier order to the same
            return self._replace(by_entry=False, dropped=None)
        return self._replace(by_entry=False, due=None, claims=(), dropped=None)

    def begun(self, stamp: Stamp, rate_ppm: int) -> Expect:
        """The same, the output having begun to follow by `stamp`: its call's change is shown within follow of it."""
        if self.due is None or self.unseen is None:
            return self
        high = self.lets(begun_by(limit_at(stamp), self.unseen, self.unseen_us, rate_ppm))
        if self.due.high is not None and self.due.high.last_us <= high.last_us:
            return self
        return self._replace(due=self.due._replace(high=high))

    def lets(self, high: Limit) -> Limit:
        """`high`, or later if the restart delay may end later."""
        return high if self.locked is None else later(high, self.locked)

    def overdue(self, level: bool, now_us: int) -> bool:
        """Whether the output is not where it must be at `now_us`."""
        if self.free or level == self.want:
            return False
        if self.due is None:
            return True
        closes = self.due.closes_us
        return closes is not None and now_us > closes

    def carried(self, until_us: int, by_call: bool = False, begins: bool = False) -> tuple[Claim, ...]:
        """What a new order must still allow of this one, up to `until_us`."""
        kept = [c for c in self.claims if c.last_us > 0]
        if self.due is not None:
            closes = self.due.closes_us
            last = until_us if closes is None else min(closes, until_us)
            kept.append(Claim(self.want, self.due.opens_us, last, by_call, begins))
        return few(kept)


@quickly_replaced
class Possibility(NamedTuple):
    """`hold`: when the hold is over; `hold_before`: the same, before the sensors were not low;
    `longest_us`: how long it lasts at most, if nothing has disturbed it;
    `left_us`: what is left of a hold that stands still, least and most; `supplied`: the supply came;
    `ghost`: when the hold would have been over that a re-leak cut off; `locks`: for each output
    the last event that its restart delay counts from; `opened`: events whose other branch
    exists already, each with its way; `way`: tells holds apart that end in windows apart.
    """

    state: str
    entered: Window
    event: str
    expects: tuple[Expect, ...]
    latched: bool = False
    mitigation: str | None = None
    supplied: Stamp | None = None
    hold: Window | None = None
    hold_before: Window | None = None
    longest_us: int | None = None
    left_us: tuple[int, int] | None = None
    ghost: Window | None = None
    locks: tuple[Window | None, ...] = ()
    opened: frozenset[tuple[str, int]] = frozenset()
    way: int = 0

    @property
    def mode(self) -> Mode:
        return MODES[self.state]

    def policy(self, output: Output) -> Policy:
        return output.modes[self.mode]

    def key(self, levels: Sequence[bool]) -> tuple[object, ...]:
        """Possibilities with the same key differ only in when; their hull stands for both.

        `levels` are the outputs as seen: what an order answers matters only
        where the output has not yet obeyed it.
        """
        return (
            self.state, self.latched, self.mitigation, self.supplied, self.hold is None,
            self.hold_before is None, self.left_us is None, self.ghost is None,
            self.event if self.event in ("cleared", "hold_over") or self.state == "normal" else None, self.way,
            self.entered.opens_us if self.state == "post_leak_hold" else None,
            tuple([
                (e.want, e.free, None if level == e.want else (e.requirement, e.by_entry))
                for e, level in zip(self.expects, levels, strict=True)
            ]),
        )  # fmt: skip

    def rough_key(self) -> tuple[object, ...]:
        """What must be the same for a hull to stand for both at all."""
        return (
            self.state, self.latched, self.mitigation, self.supplied is None, self.hold is None,
            self.hold_before is None, self.left_us is None, tuple((e.want, e.free) for e in self.expects),
        )  # fmt: skip

    def coarse_key(self) -> tuple[object, ...]:
        """What tells possibilities apart in the last resort; there are `COARSE_KEYS` of them."""
        return self.state, self.latched, self.mitigation

    def waits_like(self, other: Possibility) -> bool:
        """Whether both wait for the same events: nothing else of a possibility has part in that (`modes.dues`)."""
        return (
            self.state == other.state
            and self.entered == other.entered
            and self.hold == other.hold
            and self.hold_before == other.hold_before
            and self.event == other.event
            and self.supplied == other.supplied
            and self.latched == other.latched
        )

    def with_expect(self, place: int, expect: Expect) -> Possibility:
        return self._replace(expects=(*self.expects[:place], expect, *self.expects[place + 1 :]))

    def narrowed(self, stamp: Stamp, rate_ppm: int) -> Possibility:
        """The same at an event: whatever has happened, happened no later.

        Everything that may still happen is open again.
        """
        p = self.entered_by(stamp, rate_ppm)
        return p._replace(opened=frozenset()) if p.opened else p

    def entered_by(self, stamp: Stamp, rate_ppm: int) -> Possibility:
        """The same, the mode having been entered by `stamp` at the latest."""
        entered = self.entered.not_after(stamp)
        if entered is self.entered:
            return self
        hold, before = self.hold, self.hold_before
        if before is not None:
            if self.event == "cleared" and self.longest_us is not None:
                assert entered.high is not None
                ends = entered.high.plus(self.longest_us, rate_ppm)
                before = before._replace(high=ends if before.high is None else earlier(before.high, ends))
        elif hold is not None and self.event == "cleared":
            longest_us = self.longest_us
            if hold.high is not None and self.entered.high is not None:
                longest_us = hold.high.nominal_us - self.entered.high.nominal_us
            assert entered.high is not None
            if longest_us is not None:
                hold = hold._replace(high=entered.high.plus(longest_us, rate_ppm))
        expects, locks = self.expects, self.locks
        if self.entered in locks:
            expects = tuple([
                _unlocked_by(e, self.entered, entered, rate_ppm) if lock == self.entered else e
                for e, lock in zip(expects, locks, strict=True)
            ])  # fmt: skip
            locks = tuple([entered if lock == self.entered else lock for lock in locks])
        expects = tuple([_answered_by(e, entered, rate_ppm) for e in expects])
        return self._replace(entered=entered, hold=hold, hold_before=before, expects=expects, locks=locks)


def _unlocked_by(expect: Expect, was: Window, entered: Window, rate_ppm: int) -> Expect:
    """An order that a restart delay from the entry holds up, when the entry is known to be no later than `entered`."""
    if expect.locked is None or was.high is None or entered.high is None:
        return expect
    return expect._replace(locked=entered.high.plus(expect.locked.nominal_us - was.high.nominal_us, rate_ppm))


def _answered_by(expect: Expect, entered: Window, rate_ppm: int) -> Expect:
    """An order by entry, when the entry is known to be no later than `entered`."""
    due = expect.due
    if not expect.by_entry or expect.react_us is None or due is None or entered.high is None:
        return expect
    begins = entered.high.plus(expect.react_us, rate_ppm)
    if expect.begins is None or begins.last_us < expect.begins.last_us:
        expect = expect._replace(begins=begins)
    high = expect.lets(begun_by(begins, expect.unseen, expect.unseen_us, rate_ppm))
    if due.high is not None and due.high.last_us <= high.last_us:
        return expect
    return expect._replace(due=due._replace(high=high))


def begun_by(begins: Limit, unseen: Limit | None, unseen_us: int, rate_ppm: int) -> Limit:
    """When an output that begins to follow by `begins` is where its call wants it, at the latest."""
    if unseen is None:
        return begins
    return later(later(begins, unseen), earlier(begins, unseen).plus(unseen_us, rate_ppm))


#: How many coarse keys there are: states, latched or not, what of the mitigation is remembered.
COARSE_KEYS = len(MODES) * 2 * 3


def hull(a: Possibility, b: Possibility) -> Possibility:
    """The least possibility that stands for both; they must have the same key, or the same coarse key."""
    return a._replace(
        event=a.event if a.event == b.event else MIXED,
        supplied=_stamp_hull(a.supplied, b.supplied),
        entered=a.entered.hull(b.entered),
        hold=_hull(a.hold, b.hold, endless=True),
        hold_before=_hull(a.hold_before, b.hold_before),
        longest_us=a.longest_us if a.longest_us == b.longest_us else None,
        left_us=left_hull(a.left_us, b.left_us),
        ghost=_hull(a.ghost, b.ghost),
        locks=tuple([_forgettable_hull(x, y) for x, y in zip(a.locks, b.locks, strict=True)]),
        opened=a.opened & b.opened,
        expects=tuple([_expect_hull(x, y) for x, y in zip(a.expects, b.expects, strict=True)]),
    )  # fmt: skip


def _stamp_hull(a: Stamp | None, b: Stamp | None) -> Stamp | None:
    if a is None or b is None or a == b:
        return a or b
    first, last = min(a.earliest_us, b.earliest_us), max(a.latest_us, b.latest_us)
    half = (last - first + 1) // 2
    return Stamp(first + half, half)


def left_hull(a: tuple[int, int] | None, b: tuple[int, int] | None) -> tuple[int, int] | None:
    """What is left of a hold, least and most, where it may be either."""
    if a is None or b is None:
        return a or b
    return min(a[0], b[0]), max(a[1], b[1])


def forgettable(window: Window | None) -> Window | None:
    """A restart delay or an order that may stand, or may not: nothing has to wait for its beginning."""
    return window and window._replace(low=Limit(-NEVER_US, 0, 0))


def _forgettable_hull(a: Window | None, b: Window | None) -> Window | None:
    return forgettable(a or b) if a is None or b is None else _hull(a, b)


def _hull(a: Window | None, b: Window | None, endless: bool = False) -> Window | None:
    """`endless`: without a window it never falls."""
    if a is None or b is None:
        only = a or b
        return only._replace(high=None) if endless and only is not None else only
    return a if a == b else a.hull(b)


def _closes_last(a: Expect, b: Expect) -> Expect:
    """Whichever order is due later: it is the one that an output which never moves has not obeyed."""
    if a.requirement == b.requirement or b.due is None or a.due is None:
        return a if a.due is not None or b.due is None else b
    if a.due.high is None or b.due.high is None:
        return a if a.due.high is None else b
    return a if a.due.high.last_us >= b.due.high.last_us else b


def _expect_hull(a: Expect, b: Expect) -> Expect:
    if a == b:
        return a
    claims = few([*a.claims, *(c for c in b.claims if not any(d.covers(c) for d in a.claims))])
    if (a.want, a.free) != (b.want, b.free):  # nothing can be asked that holds for both
        return a._replace(free=True, never_on=a.never_on and b.never_on, claims=claims)
    return a._replace(
        # An output that was there before may answer its next call at once.
        due=_forgettable_hull(a.due, b.due),
        stated=_hull(a.stated, b.stated),
        requirement=_closes_last(a, b).requirement,
        by_entry=a.by_entry or b.by_entry,
        react_us=None if a.react_us is None or b.react_us is None else max(a.react_us, b.react_us),
        begins=None if a.begins is None or b.begins is None else later(a.begins, b.begins),
        locked=b.locked if a.locked is None else a.locked if b.locked is None else later(a.locked, b.locked),
        unseen=b.unseen if a.unseen is None else a.unseen if b.unseen is None else later(a.unseen, b.unseen),
        unseen_us=max(a.unseen_us, b.unseen_us),
        follow_until_us=max(a.follow_until_us, b.follow_until_us),
        claims=claims,
        never_on=a.never_on and b.never_on,
        dropped=a.dropped or b.dropped,
    )
