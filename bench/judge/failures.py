"""When nothing that was possible allows what was seen: what failed, and how to go on.

The judge goes on from the nearest possibility: the one that explains best what
is seen next, and among those the least time by which one interval must be
stretched, then the order of the requirements.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial

from bench.judge import orders
from bench.judge.answers import released
from bench.judge.book import WHOLE_BOARD, Book, Missing
from bench.judge.events import Change, instant_us
from bench.judge.findings import REQUIREMENTS
from bench.judge.modes import Due, dues, fire, in_the_dark, order_outputs
from bench.judge.possibility import Possibility
from bench.judge.tracker import Tracker
from bench.judge.window import Stamp, Window, at, later, limit_at
from firmware_ref.machine import ASKED, TABLE
from firmware_ref.parameters import MITIGATING, Mode, Policy

#: How far a candidate is followed to see whether it explains what comes next.
LOOK_AHEAD_US = 1_500_000
#: Changes this close together may be one event on several outputs.
TOGETHER_US = 150_000


@dataclass(slots=True)
class _Probe(Book):
    """A book that only counts: used while a candidate is tried out."""

    failures: int = 0

    def early(self, *args: object, **kwargs: object) -> None:  # type: ignore[override]
        self.failures += 1

    def late(self, *args: object, **kwargs: object) -> None:  # type: ignore[override]
        self.failures += 1

    def not_allowed(self, change: Change, requirement: str, mode: Mode, wrong: tuple[str, ...] = ()) -> None:  # type: ignore[override]
        self.failures += 1
        self.wrong.update(dict.fromkeys(wrong, self))  # type: ignore[arg-type]

    def missing(self, overdue: list[Missing]) -> None:
        self.failures += len(overdue)
        for m in overdue:
            self.wrong[m.output] = self  # type: ignore[assignment]

    def moved(self, *args: object) -> None:
        pass

    def stimulus(self, event: object) -> None:
        pass

    def held(self, *args: object) -> None:
        pass

    def kept(self, event: object) -> None:
        pass

    def restarted(self, *args: object) -> None:
        pass

    def pressed(self, *args: object) -> None:
        pass

    def unmoved(self, *args: object) -> None:
        pass

    def wrong_again(self, output: str, requirement: str) -> None:
        self.failures += 1

    def right_again(self, change: Change) -> bool:
        self.wrong.pop(change.output)
        return False


@dataclass(slots=True)
class Candidate:
    """One way to go on.  `rank` breaks ties among those that explain the future equally well.

    `alone`: the output moved by itself, and the board goes on as it was; `restarts`: it restarted by itself.
    """

    go_on: Possibility
    rank: tuple[float, ...]
    book: Callable[[Book], object]
    wrong: list[str] = field(default_factory=list)
    alone: bool = False
    restarts: bool = False


def resolve(
    tracker: Tracker, possibilities: list[Possibility], change: Change | None, now_us: int
) -> list[Possibility]:
    """Book what failed and say what to go on with."""
    if change is None:
        candidates = [_missing(tracker, p) for p in possibilities]
    else:
        candidates = [c for p in possibilities for c in _explanations(tracker, p, change)]
    # An output that has failed before fails alone once more rather than all the board at last.
    known = change is not None and any(
        f.verdict == "fail" and f.output == change.output for f in tracker.book.findings
    )
    if len(candidates) > 1:
        candidates = _fittest(tracker, candidates, change, now_us + LOOK_AHEAD_US)
    if len(candidates) > 1 and any(c.restarts for c in candidates):
        # A board that has restarted shows it when it is up again.
        timing = tracker.world.parameters.timing
        up_us = timing.boot.max_us + timing.warm_up.max_us
        candidates = _fittest(tracker, candidates, change, now_us + LOOK_AHEAD_US + up_us)
    best = min(candidates, key=lambda c: (known and not c.alone, *c.rank))
    best.book(tracker.book)
    return [best.go_on]


def _fittest(
    tracker: Tracker, candidates: list[Candidate], change: Change | None, until_us: int
) -> list[Candidate]:
    """Those that explain best what is seen until then."""
    surprises = [_surprises(tracker, c, change, until_us) for c in candidates]
    return [c for c, count in zip(candidates, surprises, strict=True) if count == min(surprises)]


def _surprises(tracker: Tracker, candidate: Candidate, change: Change | None, until_us: int) -> int:
    """How much of what is seen until then the candidate does not explain."""
    go_on = candidate.go_on
    if change is not None:  # as the tracker will: the present mode has been entered by now
        go_on = go_on.narrowed(change.stamp, tracker.world.rate_ppm)
    probe = _Probe(tracker.book.parameters, tracker.book.zero_us, tracker.book.decision)
    probe.wrong = dict.fromkeys([*tracker.book.wrong, *candidate.wrong], probe)  # type: ignore[arg-type]
    trial = tracker.fork([go_on], probe, _stay)
    trial.run(until_us)
    return probe.failures


def _stay(
    tracker: Tracker, possibilities: list[Possibility], change: Change | None, now_us: int
) -> list[Possibility]:
    """Count and go on as if nothing had happened; no further search."""
    p = possibilities[0]
    if change is None:
        _missing(tracker, p).book(tracker.book)
    else:
        tracker.book.not_allowed(change, "follow", p.mode, (change.output,))
    return [p]


def _missing(tracker: Tracker, p: Possibility) -> Candidate:
    outputs = tracker.world.parameters.outputs
    names = tracker.overdue(p)
    overdue = [
        Missing(o.name, e, p.mode, orders.beside(e.requirement, p.event))
        for o, e in zip(outputs, p.expects, strict=True)
        if o.name in names
    ]
    order = min((REQUIREMENTS.index(m.expect.requirement) for m in overdue), default=0)
    return Candidate(p, (len(overdue), order), lambda book: book.missing(overdue), names)


def _explanations(tracker: Tracker, p: Possibility, change: Change) -> list[Candidate]:
    place = tracker.world.parameters.place_of(change.output)
    found = [_unordered(tracker, p, change, place), *_dropped(tracker, p, change, place)]
    for due in dues(p, tracker.world):
        found += _too_early(tracker, p, change, place, due)
    found += _hold_regardless(tracker, p, change, place)
    found += _forgotten_hold(tracker, p, change, place)
    found += _mitigation_ended(tracker, p, change, place)
    found += _misread_button(tracker, p, change, place)
    found += _rebooted(tracker, p, change)
    return found


def _unordered(tracker: Tracker, p: Possibility, change: Change, place: int) -> Candidate:
    """The output moved by itself, or its own order was carried out too early or too late."""
    output, expect = tracker.world.parameters.outputs[place], p.expects[place]
    closes = None if expect.due is None else expect.due.closes_us
    overdue = closes is not None and change.stamp.earliest_us > closes and not expect.never_on
    name, also = expect.requirement, orders.beside(expect.requirement, p.event)
    if change.on == expect.want and expect.due is not None and closes is not None and overdue:
        late, due = p.with_expect(place, expect.done(change.stamp)), expect.due
        if expect.requirement == "hold":
            late = released(late, change, tracker.world, late=True)
        rank = (0, change.stamp.earliest_us - closes, REQUIREMENTS.index(expect.requirement))
        return Candidate(
            late, rank, partial(Book.late, change=change, requirement=name, window=due, also=also)
        )
    if change.on == expect.want and expect.due is not None and change.stamp.latest_us < expect.due.opens_us:
        stretch = expect.due.opens_us - change.stamp.latest_us
        due = expect.due
        done = p.with_expect(place, expect._replace(by_entry=False))
        rank = (0, stretch, REQUIREMENTS.index(expect.requirement))
        return Candidate(
            done, rank, partial(Book.early, change=change, requirement=name, window=due, also=also)
        )
    requirement = orders.in_force(output, p, tracker.lost)
    stays_wrong: tuple[str, ...] = (change.output,) if change.on != expect.want else ()
    if requirement in WHOLE_BOARD:  # the others will follow it
        stays_wrong = tuple(o.name for o in tracker.world.parameters.outputs)
    return Candidate(
        p, (1, 0, REQUIREMENTS.index(requirement)),
        lambda book: book.not_allowed(change, requirement, p.mode, stays_wrong),
        list(stays_wrong), alone=requirement not in WHOLE_BOARD,
    )  # fmt: skip


def _dropped(tracker: Tracker, p: Possibility, change: Change, place: int) -> list[Candidate]:
    """An order that a change of mode came before was carried out all the same, too late."""
    expect = p.expects[place]
    order = expect.dropped
    if order is None or order.due.high is None or change.on != order.want:
        return []
    stretch = change.stamp.earliest_us - order.due.high.last_us
    if stretch <= 0:
        return []
    rank = (0, stretch, REQUIREMENTS.index(order.requirement))

    book = partial(Book.late, change=change, requirement=order.requirement, window=order.due)
    due, output = expect.due or order.due, tracker.world.parameters.outputs[place]
    # And must go back again, at once if that was due before.
    back = limit_at(change.stamp).plus(orders.react(output, expect.want).max_us, tracker.world.rate_ppm)
    due = due._replace(high=None if due.high is None else later(due.high, back))
    return [Candidate(p.with_expect(place, expect._replace(due=due, stated=due, dropped=None)), rank, book)]


def _too_early(tracker: Tracker, p: Possibility, change: Change, place: int, due: Due) -> list[Candidate]:
    """A timer ran out too early, and the output answered."""
    if due.event == "supply_lost" or change.stamp.latest_us >= due.window.opens_us:
        return []
    output = tracker.world.parameters.outputs[place]
    stretch = due.window.opens_us - change.stamp.latest_us
    found = []
    # Limits that count from the stimulus stand for every output, whichever was too early first.
    total = due.base is not None and due.event in ("tripped", "lost")
    for q in fire(p, Due(due.event, _now(due.window, change), due.base if total else None), tracker.world):
        expect = q.expects[place]
        if total and expect.want == change.on and expect.by_entry and expect.due is not None:
            window = expect.due
            q = _all_may_be_early(q, change).with_expect(place, expect._replace(by_entry=False))
        elif expect.admits(change.on, change.stamp):
            window = due.window.plus(orders.react(output, change.on), tracker.world.rate_ppm)
        else:
            continue
        requirement = expect.requirement
        ghost = p.ghost
        if due.event == "hold_over" and ghost is not None and ghost.admits(change.stamp):
            requirement = "re-leak"
        if due.event == "hold_over" and p.event == "booted":  # the hold that was to go on after a cut
            requirement = "supply"
        q = released(q, change, tracker.world) if due.event == "hold_over" else q
        rank = (0, stretch, REQUIREMENTS.index(requirement))
        also = orders.beside(requirement, q.event)
        book = partial(Book.early, change=change, requirement=requirement, window=window, also=also)
        found.append(Candidate(q, rank, book))
    return found


def _all_may_be_early(q: Possibility, change: Change) -> Possibility:
    """Outputs that a change of mode still orders may move from now on; they are measured by their own limits."""
    first = limit_at(change.stamp)
    expects = tuple(
        e._replace(due=e.due._replace(low=first), stated=e.due) if e.by_entry and e.due is not None else e
        for e in q.expects
    )
    return q._replace(expects=expects)


def _now(window: Window, change: Change) -> Window:
    here = at(change.stamp)
    return Window(here.low, here.high, window.origin, causal=False)


def _hold_regardless(tracker: Tracker, p: Possibility, change: Change, place: int) -> list[Candidate]:
    """The hold ended though it had to stand still, or to begin afresh, or to wait for low."""
    world = tracker.world
    hold = p.hold_before or p.hold
    if p.state not in ("post_leak_hold", "post_leak_hold_lost") or hold is None:
        return []
    if any(d.event == "hold_over" and d.window.open_after(change.stamp.earliest_us) for d in dues(p, world)):
        return []
    found = []
    for q in fire(p, Due("hold_over", _now(hold, change), None), world):
        expect = q.expects[place]
        if not expect.admits(change.on, change.stamp):
            continue
        window = hold.plus(orders.react(world.parameters.outputs[place], change.on), world.rate_ppm)
        early = window.opens_us - change.stamp.latest_us
        late = 0 if window.closes_us is None else change.stamp.earliest_us - window.closes_us
        requirement = "kept-on-loss" if tracker.lost and late <= 0 else "hold"
        book: Callable[[Book], object] = partial(
            Book.not_allowed, change=change, requirement=requirement, mode=p.mode
        )
        if early > 0:
            book = partial(Book.early, change=change, requirement=requirement, window=window)
        elif late > 0:
            book = partial(Book.late, change=change, requirement=requirement, window=window)
        rank = (0, max(early, late, 0), REQUIREMENTS.index(requirement))
        found.append(Candidate(released(q, change, world), rank, book))
    return found


def _forgotten_hold(tracker: Tracker, p: Possibility, change: Change, place: int) -> list[Candidate]:
    """The hold ran on through a re-leak, and ended with the leak still there or just gone."""
    ghost = p.ghost
    if ghost is None or p.state not in ("leak_active", "leak_active_lost"):
        return []
    output = tracker.world.parameters.outputs[place]
    if not ghost.plus(orders.react(output, change.on), tracker.world.rate_ppm).admits(change.stamp):
        return []
    q = fire(p._replace(state="post_leak_hold"), Due("hold_over", _now(ghost, change), None), tracker.world)[
        0
    ]
    if not q.expects[place].admits(change.on, change.stamp):
        return []
    q = released(q, change, tracker.world)
    rank = (0, 0, REQUIREMENTS.index("re-leak"))
    return [Candidate(q, rank, lambda book: book.not_allowed(change, "re-leak", p.mode))]


def _mitigation_ended(tracker: Tracker, p: Possibility, change: Change, place: int) -> list[Candidate]:
    """The board took a sensor loss for the end of the mitigation, and begins to watch for losses anew."""
    if not tracker.lost or p.mode not in MITIGATING:
        return []
    held, ended = p._replace(state="post_leak_hold", latched=False), _now(p.entered, change)
    (q,) = fire(held, Due("hold_over", ended, None), tracker.world)
    # Its restart delay may or may not take this for a release.
    unlocked = order_outputs(held, Mode.NORMAL, "hold_over", ended, None, tracker.world)
    rank = (1, 0, REQUIREMENTS.index("kept-on-loss"))
    return [
        Candidate(
            released(way._replace(event="warmed_up"), change, tracker.world), rank,
            lambda book: book.not_allowed(change, "kept-on-loss", p.mode),
        )
        for way in (q, q._replace(locks=held.locks, expects=unlocked))
        if way.expects[place].admits(change.on, change.stamp)
    ]  # fmt: skip


def _misread_button(tracker: Tracker, p: Possibility, change: Change, place: int) -> list[Candidate]:
    """The board took what was pressed for a gesture that it was not."""
    world, last = tracker.world, tracker.world.gestures.last
    if last is None or change.stamp.earliest_us > _answered_by(tracker, last):
        return []
    found = []
    bound = world.parameters.button.gestures if world.parameters.button is not None else {}
    for action, event in ASKED.items():
        if action not in bound or (p.state, event) not in TABLE:
            continue
        for q in fire(p, Due(event, _now(at(last), change), None), world):
            if q.expects[place].admits(change.on, change.stamp):
                rank = (0, 0, REQUIREMENTS.index("button"))
                found.append(Candidate(q, rank, lambda book: book.not_allowed(change, "button", p.mode)))
    return found


def _answered_by(tracker: Tracker, last: Stamp) -> int:
    """Until when an output may show what the board makes of the button's last move."""
    slowest = max(max(o.react_on.max_us, o.react_off.max_us) for o in tracker.world.parameters.outputs)
    return tracker.world.gestures.answer_by(last).plus(slowest, tracker.world.rate_ppm).last_us


def _rebooted(tracker: Tracker, p: Possibility, change: Change) -> list[Candidate]:
    """The board restarted by itself: its outputs are where they are without supply, or two went there at least."""
    outputs = tracker.world.parameters.outputs
    if p.supplied is None or p.state == "unpowered":
        return []
    near: dict[str, bool] = {}
    for e in tracker.queue[max(0, tracker.place - 1) :]:
        if instant_us(e) - change.stamp.latest_us > TOGETHER_US:
            break
        if isinstance(e, Change):  # the first of each: it may be up again soon
            near.setdefault(e.output, e.on)
    levels = {**tracker.levels, **near}
    asleep = [o.name for o in outputs if levels[o.name] == (o.modes[Mode.UNPOWERED] is Policy.ON)]
    together = len(near.keys() & set(asleep)) >= 2 or len(asleep) == len(outputs)
    if change.output not in near or not together:
        return []
    here = at(change.stamp)
    locks = tuple(
        orders.lock_of(o, lock, "supplied", here, either=True)
        for o, lock in zip(outputs, p.locks, strict=True)
    )
    q = p._replace(
        locks=locks, state="unpowered", entered=here, event="supply_lost", supplied=change.stamp,
        hold=None, hold_before=None, left_us=None, ghost=None, mitigation=None, opened=frozenset(),
    )  # fmt: skip
    q, rank = in_the_dark(q, tracker.world), (2, 0, REQUIREMENTS.index("supply"))
    return [Candidate(q, rank, lambda book: book.not_allowed(change, "supply", p.mode), restarts=True)]
