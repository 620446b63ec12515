"""Everything the board may be doing, followed through the events of a run.

Stimuli and settled changes of outputs go in, in any batches; they are
processed in order of time, a stimulus at its earliest instant and a change at
its latest, so that a change that may be the answer to a stimulus is never
tried before it.  For the same reason a window is taken for closed only when no
change that may have begun in it can still come (`edge_width_us`).  What was allowed before a stimulus stays allowed within its
own window, so overlapping events need no tie rule.

Between events time moves in steps to the next instant at which a timer's
window opens (the possibility goes on two ways), or closes, or an output is
overdue (the possibility ends).  Possibilities that differ only in *when* are
replaced by their hull; what is left is bounded by states times memory.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from operator import is_not

from bench.judge import answers, holds, orders
from bench.judge.book import Book
from bench.judge.conditions import Conditions
from bench.judge.events import (
    ButtonMoved,
    CallMoved,
    Change,
    Event,
    Flicker,
    SensorMoved,
    SupplyMoved,
    instant_us,
)
from bench.judge.gestures import Gestures
from bench.judge.mode_log import ModeLog
from bench.judge.modes import Due, dues, fire, in_the_dark, initial, let_go, over_before, powered_again
from bench.judge.possibility import COARSE_KEYS, NEVER_US, Expect, Possibility, hull
from bench.judge.window import Stamp
from bench.judge.world import World
from firmware_ref.machine import TABLE, WATCH, Needs
from firmware_ref.parameters import MITIGATING, Output, Parameters, Policy


@dataclass(slots=True)
class Live:
    """A possibility with what it waits for, worked out once (None: not yet).

    `opens_us`: when the next event that it has not gone on by may fall; `ends_us`: when it is ruled out.
    """

    p: Possibility
    known: list[Due] | None = None
    opens_us: int | None = None
    ends_us: int | None = None


def _known_of(p: Possibility, lives: list[Live]) -> list[Due] | None:
    """What a possibility waits for, where one of these waits for the same and it has been worked out."""
    for live in lives:
        if live.known is not None and live.p.waits_like(p):
            return live.known
    return None


@dataclass(slots=True)
class Watched:
    """A stimulus that must change nothing until `until_us`; then `book` says what was proven."""

    until_us: int
    book: Callable[[], None]


#: With more possibilities than this, those that differ in what they answer are merged too.
MANY = 16
#: Never more than this: those that differ in what the outputs must show are merged in the last resort.
MOST = 64
assert COARSE_KEYS <= MOST

#: Decides what to go on with when nothing that was possible allows what was seen.
Failed = Callable[["Tracker", "list[Possibility]", "Change | None", int], "list[Possibility]"]


@dataclass(slots=True)
class Tracker:
    """Follows one board.  `failed` is called when no possibility is left."""

    world: World
    book: Book
    levels: dict[str, bool]
    failed: Failed
    now_us: int
    lives: list[Live] = field(default_factory=list)
    queue: list[Event] = field(default_factory=list)
    place: int = 0
    watched: dict[str, Watched] = field(default_factory=dict)
    most: int = 0
    edge_width_us: int = 0
    log: ModeLog | None = None
    #: What was asked for by the button (press, action) while the board may have had an answer to it.
    met: set[tuple[int, str]] = field(default_factory=set)

    @classmethod
    def start(
        cls,
        parameters: Parameters,
        rate_ppm: int,
        snapshot: Stamp,
        levels: dict[str, bool],
        book: Book,
        failed: Failed,
    ) -> Tracker:
        calls = {c: orders.Call() for c in parameters.calls}
        gestures = Gestures(parameters.button, rate_ppm)
        world = World(parameters, rate_ppm, Conditions(parameters), calls, gestures)
        tracker = cls(world, book, dict(levels), failed, snapshot.earliest_us)
        # A terminal that is on for less than a half cycle may not be seen at all.
        tracker.edge_width_us = 500_000 // parameters.frequency_hz
        tracker.log = None if parameters.light is None else ModeLog()
        tracker.keep([initial(world, snapshot, levels)])
        return tracker

    def fork(self, possibilities: list[Possibility], book: Book, failed: Failed) -> Tracker:
        """An independent tracker that goes on from here with other possibilities."""
        tracker = Tracker(self.world.fork(), book, dict(self.levels), failed, self.now_us)
        tracker.queue, tracker.place = self.queue, self.place
        tracker.edge_width_us = self.edge_width_us
        tracker.keep(possibilities)
        return tracker

    @property
    def possibilities(self) -> list[Possibility]:
        return [live.p for live in self.lives]

    def keep(
        self,
        possibilities: list[Possibility],
        same_stimuli: bool = False,
        same_dues: bool = False,
    ) -> None:
        """Go on with these, those that differ only in *when* replaced by their hull.

        `same_stimuli`: nothing was done to the board since, so what was worked out
        of a possibility stands; `same_dues`: nothing but calls and outputs has moved, so what it waits for does.
        """
        if len(possibilities) > 1:
            possibilities = self._merged(possibilities)
        lives = {id(live.p): live for live in self.lives} if same_stimuli else {}
        before = self.lives if same_stimuli or same_dues else []
        self.lives = [lives.get(id(p)) or Live(p, _known_of(p, before)) for p in possibilities]
        self.most = max(self.most, len(self.lives))
        if self.log is not None:
            self.log.note(self.now_us, possibilities, self.world.cut is not None)

    def _merged(self, possibilities: list[Possibility]) -> list[Possibility]:
        if len({p.state for p in possibilities}) == len(possibilities):
            return possibilities  # no two of which have anything in common
        levels = [self.levels[o.name] for o in self.world.parameters.outputs]
        merged = self._by_key(possibilities, lambda p: p.key(levels))
        if len(merged) > MANY:
            merged = self._by_key(merged, Possibility.rough_key)
        return merged if len(merged) <= MOST else self._by_key(merged, Possibility.coarse_key)

    def _by_key(
        self, possibilities: list[Possibility], key_of: Callable[[Possibility], object]
    ) -> list[Possibility]:
        merged: dict[object, Possibility] = {}
        for p in possibilities:
            key = key_of(p)
            known = merged.get(key)
            if known is None:
                merged[key] = p
                continue
            both = hull(known, p)
            if both._replace(opened=known.opened) != known:  # else it adds nothing
                merged[key] = both
        return list(merged.values())

    def dues_of(self, live: Live) -> list[Due]:
        """The events that a possibility waits for."""
        if live.known is None:
            live.known = list(dues(live.p, self.world))
        return live.known

    def push(self, events: list[Event]) -> None:
        """Add events; they may come in any order but not before what was processed."""
        rest = self.queue[self.place :] + events
        rest.sort(key=lambda e: (instant_us(e), isinstance(e, Change)))
        self.queue, self.place = rest, 0
        widths = [2 * e.stamp.half_us for e in events if isinstance(e, Change)]
        self.edge_width_us = max([self.edge_width_us, *widths])
        self._reckon_ends()

    def _reckon_ends(self) -> None:
        """When the possibilities end is to be worked out again: outputs moved, or were found wrong or right."""
        for live in self.lives:
            live.ends_us = None

    def run(self, until_us: int) -> None:
        """Process everything up to and at `until_us`."""
        while self.place < len(self.queue):
            event = self.queue[self.place]
            if (at_us := instant_us(event)) > until_us:
                break
            self.place += 1
            self._advance(at_us)
            self._process(event)
        self._advance(until_us)

    # --- time ---------------------------------------------------------------

    def _advance(self, to_us: int) -> None:
        while (step := self._next_step()) <= to_us:
            self.now_us = max(self.now_us, step)
            self._open_windows(self.now_us)
            self._end_watches()
            self._end_ghosts()
            self._bury()
            if self.world.gestures.forget(self.now_us - self.edge_width_us):
                self.keep(self.possibilities)
        self.now_us = max(self.now_us, to_us)

    def _next_step(self) -> int:
        step = NEVER_US
        for live in self.lives:
            step = min(step, self._opens_us(live), self._ends_us(live))
            if live.p.ghost is not None:
                step = min(step, self.ghost_ends_us(live.p))
        for watched in self.watched.values():
            step = min(step, watched.until_us)
        for ask in self.world.gestures.asks:
            if (closes := ask.window.closes_us) is not None:
                step = min(step, closes + self.edge_width_us + 1)
        return step

    def _opens_us(self, live: Live) -> int:
        if live.opens_us is None:
            opened = live.p.opened
            opens = [d.window.opens_us for d in self.dues_of(live) if d.which not in opened]
            live.opens_us = min(opens, default=NEVER_US)
        return live.opens_us

    def _ends_us(self, live: Live) -> int:
        if live.ends_us is None:
            closes = [due.closes_us for due in self.dues_of(live)]
            for output, expect in zip(self.world.parameters.outputs, live.p.expects, strict=True):
                if self.owed(output.name, expect):
                    closes.append(self.now_us if expect.due is None else expect.due.closes_us)
            first_us = min([c for c in closes if c is not None], default=NEVER_US)
            live.ends_us = first_us + self.edge_width_us + 1
        return live.ends_us

    def owed(self, name: str, expect: Expect) -> bool:
        """Whether an output has yet to come to where it is expected."""
        return not expect.free and self.levels[name] != expect.want and name not in self.book.wrong

    def _open_windows(self, by_us: int) -> None:
        """Go on both ways wherever an event may fall by then, and from there at once where the next may too."""
        for _ in WATCH:  # a chain of events at one instant passes no state twice
            if not self._branch(by_us):
                return
        for live in self.lives:
            self._opened(live, by_us)

    def _branch(self, by_us: int) -> bool:
        fresh: list[Possibility] = []
        for live in self.lives:
            if self._opens_us(live) > by_us:
                continue
            leaves = self._leaves_by(live)
            for due in self._opened(live, by_us):
                if self._before_the_cut(due) or self._has_just_begun(live.p, due):
                    continue
                if leaves is not None and due.window.opens_us > leaves.latest_us:
                    continue  # it has ended by then
                gone = fire(live.p, due, self.world)
                fresh += gone if leaves is None else [q.entered_by(leaves, self.world.rate_ppm) for q in gone]
        if fresh:
            self.keep(self.possibilities + fresh, same_stimuli=True)
        return bool(fresh)

    def _opened(self, live: Live, by_us: int) -> list[Due]:
        """The events that may fall by then and that the possibility has not gone on by; from here on it has."""
        now = [d for d in self.dues_of(live) if d.window.opens_us <= by_us and d.which not in live.p.opened]
        live.p = live.p._replace(opened=live.p.opened.union(d.which for d in now))
        live.opens_us = None
        return now

    def _before_the_cut(self, due: Due) -> bool:
        """Whether an event would have fallen before the supply went: then it was gone on by, and judged, by then."""
        cut, closes = self.world.cut, due.window.closes_us
        return cut is not None and closes is not None and closes < cut.earliest_us

    def _has_just_begun(self, p: Possibility, due: Due) -> bool:
        """Whether a hold cannot be over because an output has not answered its beginning, which takes less than a hold.

        It is looked at again when something happens.
        """
        hold, begun = self.world.parameters.timing.hold, p.entered.high
        if due.event != "hold_over" or (p.state, p.event) != ("post_leak_hold", "cleared"):
            return False
        if hold is None or begun is None:
            return False
        return any(
            expect.by_entry
            and p.policy(output) is not Policy.FOLLOW
            and expect.due is not None
            and expect.due.high is not None
            and self.owed(output.name, expect)
            and expect.due.high.last_us - begun.first_us < hold.min_us - hold.min_us // 100
            for output, expect in zip(self.world.parameters.outputs, p.expects, strict=True)
        )

    def _leaves_by(self, live: Live) -> Stamp | None:
        """The latest instant at which a possibility can still become another: it ends at that instant itself."""
        ends = [due.window.high for due in self.dues_of(live) if due.must]
        for output, expect in zip(self.world.parameters.outputs, live.p.expects, strict=True):
            if expect.due and self.owed(output.name, expect):
                ends.append(expect.due.high)
        first = min((end for end in ends if end is not None), key=lambda end: end.last_us, default=None)
        return None if first is None else Stamp(first.nominal_us, first.slack_us)

    def _bury(self) -> None:
        """End the possibilities that time has ruled out."""
        alive = [live.p for live in self.lives if self._ends_us(live) > self.now_us]
        if len(alive) == len(self.lives):
            return
        if not alive:
            # A timer that has surely run out while nothing else is possible has run out.
            late = [live for live in self.lives if not self.overdue(live.p)]
            run_out = [q for live in late for d in self._closed(live) for q in fire(live.p, d, self.world)]
            alive = [q for q in run_out if not self.overdue(q)]
            if not alive:
                stuck = [live.p for live in self.lives if self.overdue(live.p)]
                if not stuck and not run_out:  # a hold that ran on through a loss was over before it
                    run_out = [q for live in late for q in over_before(live.p, self.world)]
                alive = self.failed(self, stuck + run_out, None, self.now_us)
                self._reckon_ends()
        self.keep(alive, same_stimuli=True)

    def _closed(self, live: Live) -> list[Due]:
        return [d for d in self.dues_of(live) if (c := d.closes_us) is not None and self._past(c)]

    def _past(self, closes_us: int) -> bool:
        return self.now_us > closes_us + self.edge_width_us

    def overdue(self, p: Possibility) -> list[str]:
        """Outputs that are not where this possibility needs them by now."""
        return [
            output.name
            for output, expect in zip(self.world.parameters.outputs, p.expects, strict=True)
            if output.name not in self.book.wrong
            and expect.overdue(self.levels[output.name], self.now_us - self.edge_width_us)
        ]

    def _end_watches(self) -> None:
        for name in [n for n, w in self.watched.items() if w.until_us <= self.now_us]:
            self.watched.pop(name).book()

    def ghost_ends_us(self, p: Possibility) -> int:
        """When a hold that a re-leak cut off would have shown its end at the latest."""
        assert p.ghost is not None
        closes = p.ghost.closes_us
        return NEVER_US if closes is None else closes + self.world.slowest_on_us + 1

    def _end_ghosts(self) -> None:
        over = [
            live.p for live in self.lives
            if live.p.ghost is not None and self.ghost_ends_us(live.p) <= self.now_us
        ]  # fmt: skip
        if not over:
            return
        if all(p.mode in MITIGATING for p in self.possibilities) and not self.book.wrong:
            self.book.restarted(over[0], self.now_us)
        self.keep([p._replace(ghost=None) if p in over else p for p in self.possibilities])

    # --- events -------------------------------------------------------------

    def _process(self, event: Event) -> None:
        if isinstance(event, Change):
            self._change(event)  # measured against the windows as they were before it was seen
            self._narrow(event.stamp)
            return
        if not isinstance(event, (CallMoved, Flicker)):  # what it breaks off may have fallen just before it
            self._open_windows(event.stamp.latest_us)
        self._narrow(event.stamp)
        if isinstance(event, Flicker):
            self.keep([answers.flickered(p, event, self.world) for p in self.possibilities])
            return
        self.book.stimulus(event)
        if isinstance(event, CallMoved):
            self._call(event)
        elif isinstance(event, SensorMoved):
            self._sensor(event)
        elif isinstance(event, ButtonMoved):
            self._button(event)
        else:
            self._supply(event)

    def _narrow(self, stamp: Stamp) -> None:
        before = self.possibilities
        after = [p.narrowed(stamp, self.world.rate_ppm) for p in before]
        if any(map(is_not, before, after)):
            self.keep(after, same_stimuli=True)

    def _change(self, change: Change) -> None:
        place = self.world.parameters.place_of(change.output)
        self.levels[change.output] = change.on
        self._reckon_ends()
        self.watched.pop(change.output, None)
        if change.output in self.book.wrong:
            self._wrong_moves(change, place)
            return
        ways = [(p, p.expects[place].admits(change.on, change.stamp)) for p in self.possibilities]
        allowed = [(p, way) for p, way in ways if way]
        if not allowed:
            self.keep(self.failed(self, self.possibilities, change, self.now_us))
            return
        by_due = [(p, p.expects[place]) for p, way in allowed if way == "due"]
        if by_due:
            self.book.moved(change, by_due)
        self.keep([answers.moved(p, place, change, way, self.world) for p, way in allowed], same_dues=True)

    def _wrong_moves(self, change: Change, place: int) -> None:
        """An output that a finding already names moves: rightly at last, or wrongly once more."""
        right = [
            p
            for p in self.possibilities
            if p.expects[place].want == change.on or p.expects[place].admits(change.on, change.stamp)
        ]
        if not right:
            self.book.wrong_again(
                change.output, orders.in_force(self._output(change), self.possibilities[0], self.lost)
            )
        elif self.book.right_again(change):
            self.keep([answers.released(p, change, self.world, late=True) for p in right])

    def _output(self, change: Change) -> Output:
        return self.world.parameters.output(change.output)

    def _call(self, event: CallMoved) -> None:
        call = self.world.calls[event.call]
        if call.on == event.on:
            return
        call.on, call.stamp, call.before = event.on, event.stamp, call.stamp
        affected = [(n, o) for n, o in enumerate(self.world.parameters.outputs) if o.call == event.call]
        moved = []
        for p in self.possibilities:
            for place, output in affected:
                old, on = p.expects[place], self.levels[output.name]
                lock = orders.unseen_off(output, old, on, call, p.locks[place])
                p = answers.locked(p, place, lock)
                expect = orders.on_call(output, old, p, call, lock, event.stamp, self.world.rate_ppm)
                if expect is not old:
                    p = p.with_expect(place, expect)
            moved.append(p)
        self.keep(moved, same_dues=True)
        for _, output in affected:
            self._watch_block(output.name, event)

    def _watch_block(self, name: str, event: CallMoved) -> None:
        """A call change that the output must not show: proven once follow's limit has passed."""
        self.watched.pop(name, None)
        output = self.world.parameters.output(name)
        limits = orders.follow(output, event.on)
        until = event.stamp.latest_us + limits.max_us + limits.max_us * self.world.rate_ppm // 1_000_000

        def prove() -> None:
            possibilities = self.possibilities
            policies = {p.policy(output) for p in possibilities}
            if len(policies) > 1 or Policy.FOLLOW in policies or name in self.book.wrong:
                return
            held = Policy.ON in policies
            if held != self.levels[name] or held == event.on:
                return
            if not any(e.free for p in possibilities for e in p.expects):
                self.book.held(output, event, possibilities, self.lost)

        self.watched[name] = Watched(until, prove)

    def _sensor(self, event: SensorMoved) -> None:
        was_lost = self.lost
        if self.world.conditions.crosses(event.sensor, event.value, event.stamp):
            self._follow_hold(event.stamp)
            self._open_windows(event.stamp.latest_us)
            # What it comes to may still change everything: it is open again.
            self.keep([p._replace(opened=frozenset()) for p in self.possibilities])
        self.world.conditions.read(event.sensor, event.value, event.stamp)
        self._follow_hold(event.stamp)
        self.watched.pop("sensor", None)
        if self.lost and not was_lost:
            self._watch_loss(event)

    def _follow_hold(self, stamp: Stamp) -> None:
        self.keep([q for p in self.possibilities for q in holds.on_condition(p, stamp, self.world)])

    @property
    def lost(self) -> bool:
        """Whether the sensors are surely lost now."""
        return self.world.conditions.surely(Needs.LOST)

    def _watch_loss(self, event: SensorMoved) -> None:
        """A loss while mitigating must change nothing: proven once it has surely been noticed."""
        loss = self.world.parameters.qualification("loss")
        if loss is None or any(p.mode not in MITIGATING for p in self.possibilities):
            return
        slowest = max(o.react_off.max_us for o in self.world.parameters.outputs)
        until = event.stamp.latest_us + loss.max_us + slowest + loss.max_us * self.world.rate_ppm // 1_000_000

        def prove() -> None:
            if all(p.mode in MITIGATING for p in self.possibilities) and not self.book.wrong:
                self.book.kept(event)

        self.watched["sensor"] = Watched(until, prove)

    def _button(self, event: ButtonMoved) -> None:
        gestures = self.world.gestures
        gestures.moved(event.on, event.stamp)
        if self.log is not None:
            self.log.ask(gestures, event.stamp.latest_us, released=not event.on)
        self.keep([p if event.on else let_go(p, self.world) for p in self.possibilities])
        if len(gestures.group) == 1 and event.on:
            self.met.clear()
        self.met.update((a.press, a.action) for a in gestures.asks if self._has_answer(a.event))
        self.watched.pop("button", None)
        if not event.on and gestures.button is not None:
            if gestures.group:
                self.book.pressed(gestures.group[-1].begin, gestures.said())
            self._watch_button(event)

    def _watch_button(self, event: ButtonMoved) -> None:
        """Presses that ask for nothing in this mode: proven once the board would have answered."""
        gestures, said = self.world.gestures, self.world.gestures.said()
        idle = not any((a.press, a.action) in self.met for a in gestures.asks)
        events = {a.event for a in gestures.asks}
        slowest = max(max(o.react_on.max_us, o.react_off.max_us) for o in self.world.parameters.outputs)
        until = gestures.answer_by(event.stamp).plus(slowest, self.world.rate_ppm).last_us

        def prove() -> None:
            modes = {p.mode for p in self.possibilities}
            free = any(e.free for p in self.possibilities for e in p.expects)
            still = not any(self._has_answer(e) for e in events)
            if idle and still and not free and not self.book.wrong:
                self.book.unmoved(said, event.stamp, modes)

        self.watched["button"] = Watched(until, prove)

    def _has_answer(self, event: str | None) -> bool:
        """Whether the board may be in a mode in which the event leads somewhere."""
        return any((p.state, event) in TABLE for p in self.possibilities)

    def _supply(self, event: SupplyMoved) -> None:
        world, outputs = self.world, self.world.parameters.outputs
        self.watched.clear()
        world.gestures.disturbed()
        if self.log is not None:
            self.log.ask(world.gestures, event.stamp.latest_us)
        if not event.on:
            world.cut = event.stamp
            self.keep([in_the_dark(p, world) for p in self.possibilities])
            return
        off = (0, NEVER_US)
        if world.cut is not None:
            cut = world.cut
            first_us, last_us = (
                event.stamp.earliest_us - cut.latest_us,
                event.stamp.latest_us - cut.earliest_us,
            )
            clock_us = last_us * world.rate_ppm // 1_000_000 + 1
            off = (max(0, first_us - clock_us), last_us + clock_us)
        world.cut = None
        ride = world.parameters.timing.ride_through
        if not world.conditions.powered or (ride is not None and off[0] > ride.max_us):
            world.conditions.supply(False, event.stamp)
            world.conditions.supply(True, event.stamp)
        elif ride is None or off[1] > ride.min_us:
            world.conditions.interrupted(event.stamp)
        back: list[Possibility] = []
        for p in self.possibilities:
            if p.state == "unpowered":
                rides = p.supplied is not None and (ride is None or off[0] <= ride.max_us)
                if rides:  # it was booting, and boots on
                    back.append(p)
                if not rides or ride is None or off[1] > ride.min_us:
                    back += powered_again(p, event.stamp, off, world)
            else:
                expects = tuple(
                    orders.after_dip(o, e, p, world.calls, lock, event.stamp, world.rate_ppm)
                    for o, e, lock in zip(outputs, p.expects, p.locks, strict=True)
                )
                back.append(p._replace(expects=expects))
        self.keep(back)
