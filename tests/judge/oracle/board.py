"""One concrete board on a coarse grid of time, and everything it may do next.

Times are whole steps of the grid.  No timer value is drawn beforehand: a timer
that has run for `e` steps may act if `e` is not below its interval's min, and
has to when `e` is the max.  Since every limit is a whole number of steps and
ends belong to intervals, a board with any real values exists if and only if
one with whole values does.

At one instant things may happen in any order: stimuli, timers, moves of
outputs.  `happenings` gives what a board may do by itself at an instant;
`called`, `read` and `supplied` what a stimulus makes of it (several boards
where several answers are right), `ticked` the board one step later, or None if
something that had to happen did not.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import product

from firmware_ref.parameters import MITIGATING, Mode, Parameters, Policy
from tests.judge.oracle import holds, supply
from tests.judge.oracle.book import Book
from tests.judge.oracle.pins import FREE, GONE, Pin
from tests.judge.oracle.spans import FOREVER, Span, less, more
from tests.judge.oracle.unit import HIGH, LOST, LOW, Line, Unit, together

_START, _NORMAL, _LEAK, _HOLD, _FAULT = (
    Mode.START_UP, Mode.NORMAL, Mode.LEAK_ACTIVE, Mode.POST_LEAK_HOLD, Mode.SENSOR_FAULT,
)  # fmt: skip


class Rulebook:
    """What a board under these parameters may do."""

    def __init__(self, parameters: Parameters, step_us: int) -> None:
        self.parameters, self.rules = parameters, parameters.rules
        self.book = Book(parameters, step_us)
        self.names = [s.name for s in parameters.sensors]

    # --- stimuli ----------------------------------------------------------------

    def initial(self, remembering: bool = False) -> list[Unit]:
        """A board without supply; `remembering`: it may have been cut off in mitigation or a latched fault before."""
        pins = tuple(
            Pin(level=False, policy=FREE, call=False, call_age=self.book.oldest, dark=GONE,
                shown=o.modes[Mode.UNPOWERED] is Policy.ON)
            for o in self.parameters.outputs
        )  # fmt: skip
        count = len(self.names)
        lost = (LOST,) * count
        one = Unit(
            Mode.UNPOWERED, pins, (frozenset({LOST}),) * count, lost, together(lost, self.rules.lost_when),
            (Line(),), (None,) * count,
        )  # fmt: skip
        kinds = [one] if count == 1 else [one, one._replace(each=True, lines=(Line(),) * count)]
        if not remembering:
            return kinds
        known = supply.from_before(self.book)
        latches = (False,) if self.rules.latching is False else (False, True)
        return [u._replace(memory=m, latched=way) for u in kinds for m in known for way in latches]

    def called(self, u: Unit, call: str, on: bool) -> Unit:
        return u._replace(
            pins=tuple(
                pin.called(on, limits) if o.call == call and pin.call != on else pin
                for o, pin, limits in zip(self.parameters.outputs, u.pins, self.book.limits, strict=True)
            )
        )

    def supplied(self, u: Unit, on: bool) -> list[Unit]:
        return supply.back(u, self.book) if on else [supply.gone(u, self.book)]

    def signalled(self, u: Unit, sensor: str, may_read: frozenset[str]) -> list[Unit]:
        """A sensor's signal changes; inside a band both readings are right."""
        n = self.names.index(sensor)
        u = u._replace(may_read=(*u.may_read[:n], may_read, *u.may_read[n + 1 :]))
        return [v for r in sorted(may_read) for v in self.read(u, n, r)]

    def read(self, u: Unit, n: int, reading: str) -> list[Unit]:
        """The board takes sensor `n` for something else from now on."""
        if reading == u.readings[n]:
            return [u]
        before, was = u, u.reading
        readings = (*u.readings[:n], reading, *u.readings[n + 1 :])
        now = together(readings, self.rules.lost_when)
        u = u._replace(readings=readings, reading=now)
        if u.up is None:
            return [u]
        goods = list(u.goods)
        if LOST in (reading, before.readings[n]):
            goods[n] = None if reading == LOST else 0
        calm = None if now == HIGH else 0 if was == HIGH else u.calm
        lines = tuple(self._line(u, k, before.said(k)) for k in range(len(u.lines)))
        u = u._replace(goods=tuple(goods), calm=calm, lines=lines)
        if now == was:
            return [u]
        ways = self._clear_timer(u, was) if u.mode is _LEAK and not u.aware else [u._replace(clear=None)]
        if u.mode is _HOLD:
            ways = [w for v in ways for w in holds.read(v, was, self.book)]
        return ways

    def _line(self, u: Unit, k: int, was: str) -> Line:
        line, says = u.lines[k], u.said(k)
        if says == was:
            return line
        watching = u.mode in (_NORMAL, _HOLD) and not u.aware
        return Line(
            trip=0 if says == HIGH and watching else None,
            lost=0 if says == LOST and (watching or (u.mode is _LEAK and not u.aware)) else None,
            good=None if says == LOST else 0 if was == LOST else line.good,
        )

    def _clear_timer(self, u: Unit, was: str) -> list[Unit]:
        """Low runs the clear timer; a loss too short to be noticed may leave it running."""
        if u.reading == LOW:
            return [u if was == LOST and u.clear is not None else u._replace(clear=0)]
        broken = u._replace(clear=None)
        return [broken, u] if u.reading == LOST and was == LOW and u.clear is not None else [broken]

    # --- what it may do by itself --------------------------------------------------

    def happenings(self, u: Unit) -> Iterator[Unit]:
        for n, pin in enumerate(u.pins):
            for moved in pin.happenings(self.book.limits[n]):
                if supply.may_stray(u, n, moved, self.book):
                    yield u._replace(pins=(*u.pins[:n], moved, *u.pins[n + 1 :]))
        if u.up is None:
            return
        for n, may in enumerate(u.may_read):
            for reading in may - {u.readings[n]}:
                yield from self.read(u, n, reading)
        if u.cut is not None and u.cut >= self.book.ride.least:
            for memory in supply.remembered(u, self.book):
                yield from (v._replace(memory=memory) for v in supply.died(u))
        yield from self._timers(u)

    def _timers(self, u: Unit) -> Iterator[Unit]:
        mode, book = u.mode, self.book
        yield from self._begins(u)
        if mode is Mode.UNPOWERED:
            if u.up is not None and u.up >= book.boot.least:
                yield from self._booted(u)
            return
        waits = u.reading == HIGH and self.rules.check_before_normal
        if mode is _START and u.up is not None and u.up >= book.warm_up.least and not waits:
            yield self._enter(u, _NORMAL).watching()
        for line in u.lines:
            if line.trip is not None and line.trip >= book.trip.least:
                longest = max(x.trip for x in u.lines if x.trip is not None)
                v = self._enter(u, _LEAK, 0, line.trip, longest)
                yield v.quiet()._replace(
                    aware=False, by=None, hold=None, stands=None, unseen=None, early=False
                )
        if not u.aware:
            for elapsed in self._losses(u):
                if elapsed >= book.loss.least:
                    yield from self._loss(u, elapsed)
        if mode is _LEAK and u.clear is not None and u.clear >= book.clear.least and not u.aware:
            yield from self._enter_hold(u._replace(clear=None))
        if mode is _HOLD and u.stands is None:
            if u.hold is not None and u.hold.least == 0:
                yield from self._hold_over(u)
            if self._losses(u) and (u.by == "pause" if u.aware else "pause" in book.options("lost")):
                yield u._replace(stands="rest", unseen=None)
        if self._returns(u, book.back.least):
            yield from self._returned(u)

    def _begins(self, u: Unit) -> Iterator[Unit]:
        """Qualifications that need not begin with their condition."""
        early = u.mode in (Mode.UNPOWERED, _START)
        late = u.mode is _FAULT or (u.mode is _HOLD and u.aware)
        for n, line in enumerate(u.lines):
            if line.trip is None and u.said(n) == HIGH and (early or late):
                yield u.with_line(n, line._replace(trip=0))
            if line.lost is None and u.said(n) == LOST and early:
                yield u.with_line(n, line._replace(lost=0))
        if u.clear is None and u.reading == LOW:
            again = u.mode is Mode.UNPOWERED and u.memory is not None and u.memory.left is None
            if again or (u.mode is _LEAK and u.aware):
                yield u._replace(clear=0)

    def _losses(self, u: Unit) -> list[int]:
        """For how long a loss has been in qualification: of any sensor that is enough, or of all of them."""
        times = [line.lost for line in u.lines]
        stated = [t for t in times if t is not None]
        if self.rules.lost_when == "all" and u.each:
            return [min(stated)] if len(stated) == len(times) else []
        return stated

    def _loss(self, u: Unit, elapsed: int) -> Iterator[Unit]:
        latching = self.rules.latching
        if u.mode in (_START, _NORMAL):
            longest = max(self._losses(u))
            v = self._enter(u, _FAULT, 1, elapsed, longest).quiet(lost=True)._replace(early=u.mode is _START)
            yield from self._latches(v, (True, False) if latching is None else (latching,))
        elif u.mode in MITIGATING:
            v = u._replace(aware=True, clear=None, unseen=None)
            for w in holds.loss_qualified(v, self.book) if u.mode is _HOLD else [v]:
                yield from self._latches(w, (u.latched,) if latching is False or u.latched else (True, False))

    def _latches(self, u: Unit, ways: tuple[bool, ...]) -> list[Unit]:
        return [u._replace(latched=way) for way in ways]

    def _enter_hold(self, u: Unit) -> list[Unit]:
        v = self._enter(u, _HOLD)._replace(hold=self.book.hold, stands=None, unseen=None, ran=0)
        return holds.begun(v, self.book)

    def _hold_over(self, u: Unit) -> Iterator[Unit]:
        rules = self.rules
        if u.aware and u.by != "run":
            return
        if rules.hold_ends_only_when == "low" and u.reading not in (LOW, LOST):
            return
        still_lost = u.aware and u.reading == LOST
        v = u._replace(hold=None, stands=None, unseen=None, aware=False, by=None)
        if not still_lost and not u.latched:
            yield from (w.watching() for w in self._locking(self._enter(v, _NORMAL), "release"))
            return
        latching = rules.latching
        ways = (True,) if latching or u.latched else (False,) if latching is False else (True, False)
        fault = self._enter(v, _FAULT)
        for w in self._locking(fault, "release", either=True):
            w = w.quiet(lost=True) if still_lost else w.unlost()
            yield from self._latches(w, ways)

    def _good(self, u: Unit) -> int | None:
        """Since when the sensors are good enough to return; to leave sensor-fault all must be."""
        goods = [g for g in u.goods if g is not None]
        every = min(goods) if len(goods) == len(u.goods) else None
        if u.mode is _FAULT:
            return every
        if not u.each:
            return u.lines[0].good
        return max(goods, default=None) if self.rules.lost_when == "all" else every

    def _returns(self, u: Unit, least: int) -> bool:
        waits = u.aware or (u.mode is _FAULT and not u.latched)
        good = self._good(u)
        return waits and good is not None and good >= least

    def _returned(self, u: Unit) -> Iterator[Unit]:
        rules, book = self.rules, self.book
        good = self._good(u)
        assert good is not None
        released = u.mode is _FAULT
        if u.reading == HIGH and (
            (released and rules.return_only_when == "not-high") or good > book.back.most
        ):
            return  # while high it returns as if it were not, or waits
        if u.mode is _LEAK:
            clear = 0 if u.reading == LOW and u.clear is None else u.clear
            yield from self._either(u._replace(aware=False, clear=clear).watching(leaks=False))
        elif u.mode is _HOLD:
            if u.by == "restart":
                v = self._enter(u, _LEAK).quiet()._replace(aware=False, by=None, hold=None, stands=None)
                yield from self._either(v._replace(clear=0 if v.reading == LOW else None))
                return
            v = u._replace(aware=False, by=None).watching()
            for w in self._either(v):
                if w.reading == LOW:
                    yield holds.low_again(w, book)
                else:
                    yield from holds.disturbed(w._replace(stands=None), book)
        elif rules.after_fault == "hold":
            for w in self._locking(u, "return", either=True):
                yield from (v.watching() for v in self._enter_hold(w))
        else:
            for w in self._locking(self._enter(u, _NORMAL)._replace(early=False), "return"):
                yield w.watching()
            if u.early and u.up is not None and u.up < book.warm_up.most:
                yield from self._locking(self._enter(u, _START)._replace(early=False), "return")

    def _either(self, u: Unit) -> list[Unit]:
        """A return that releases nothing may count as one or not."""
        return self._locking(u, "return", either=True)

    def _booted(self, u: Unit) -> Iterator[Unit]:
        """Into start-up, or to where the board's memory takes it."""
        memory = u.memory
        mode = supply.coming(memory, u.latched)
        woken = supply.woken(u, mode, self.book)
        if woken is None:
            return
        v = self._enter(woken, mode)._replace(memory=None)
        if mode is _LEAK:
            v = v.quiet().watching(leaks=False)
            yield v._replace(clear=0 if v.reading == LOW and v.clear is None else v.clear)
        elif mode is _HOLD:
            assert memory is not None and memory.left is not None
            hold = supply.left_at_boot(u, memory.left, self.book)
            v = v.watching()._replace(hold=hold, stands=None, unseen=None, ran=0, clear=None)
            yield from holds.begun(v, self.book)
        else:
            yield v.quiet(lost=True) if mode is _FAULT else v

    def _enter(
        self, u: Unit, mode: Mode, total: int | None = None, elapsed: int = 0, longest: int = 0
    ) -> Unit:
        """The hidden instant; each output moves at its own moment after it.

        `total`: which total counts, `elapsed` steps ago for the sensor that has
        brought the change, `longest` ago for the first of those whose total runs.
        """
        pins = []
        for n, (output, pin) in enumerate(zip(self.parameters.outputs, u.pins, strict=True)):
            policy = output.modes[mode]
            wants = pin.call if policy is Policy.FOLLOW else policy is Policy.ON
            window = self.book.limits[n].react[wants]
            if total is not None:
                limit = self.book.totals[n][total]
                window = Span(max(0, limit.least - elapsed), less(limit.most, longest))
            pins.append(pin.ordered(policy, window))
        return u._replace(mode=mode, pins=tuple(pins))

    def _locking(self, u: Unit, event: str, either: bool = False) -> list[Unit]:
        """Restart delays run from this event; `either`: or not."""
        ways = []
        for pin, limits in zip(u.pins, self.book.limits, strict=True):
            locked = pin.locked(event, limits)
            ways.append((locked, pin) if either and locked != pin else (locked,))
        return [u._replace(pins=pins) for pins in product(*ways)]

    # --- time ------------------------------------------------------------------------

    def ticked(self, u: Unit) -> Unit | None:
        book = self.book
        pins = []
        for pin, limits in zip(u.pins, book.limits, strict=True):
            later = pin.ticked(book.oldest, limits)
            if later is None:
                return None
            pins.append(later)
        cut = None if u.cut is None else min(u.cut + 1, book.absent)
        u = u._replace(pins=tuple(pins))
        if u.up is None:
            return u._replace(cut=cut)
        if self._overdue(u):
            return None
        clear, hold, ran = u.clear, u.hold, u.ran
        if clear is not None:
            clear = None if clear == book.clear.most and not u.aware else more(clear, book.clear)
        if hold is not None and u.stands is None:
            hold = Span(max(0, hold.least - 1), less(hold.most))
            ran = ran + 1 if cut is not None and hold.most < FOREVER else 0
        return u._replace(
            up=min(u.up + 1, book.warm_up.most),
            cut=cut,
            lines=tuple(
                Line(more(x.trip, book.trip), more(x.lost, book.loss), more(x.good, book.back, 1))
                for x in u.lines
            ),
            goods=tuple(more(g, book.back, 1) for g in u.goods),
            calm=more(u.calm, book.back),
            clear=clear,
            hold=hold,
            ran=ran,
            unseen=None if u.unseen is None else u.unseen + (u.reading not in (LOW, LOST)),
        )

    def _overdue(self, u: Unit) -> bool:
        mode, rules, book = u.mode, self.rules, self.book
        high = u.reading == HIGH
        if u.cut is not None and u.cut == book.ride.most:
            return True
        if mode is Mode.UNPOWERED:
            return u.up == book.boot.most
        waits = high and rules.check_before_normal and u.watching() == u
        if mode is _START and u.up == book.warm_up.most and not waits:
            return True
        for n, line in enumerate(u.lines):
            if line.trip is not None and line.trip == book.trip.most:
                return True
            begins = mode is _FAULT or (mode is _HOLD and u.aware)
            if begins and u.said(n) == HIGH and line.trip is None and _at(line.good, book.back):
                return True
        lost = max(self._losses(u), default=None)
        if lost is not None and lost == book.loss.most:
            stopped = mode is not _HOLD or u.stands is not None or u.by != "pause"
            if not u.aware or not stopped:
                return True
        if mode is _LEAK and not u.aware and _at(u.clear, book.clear) and u.reading == LOW:
            return True
        if not high and self._returns(u, book.back.most) and u.calm is not None and u.calm >= book.back.most:
            return True
        if u.unseen is not None and u.unseen == book.unseen and u.reading not in (LOW, LOST):
            return True
        runs = mode is _HOLD and u.stands is None and u.hold is not None and u.hold.most == 0
        if runs and not (u.aware and u.by != "run"):
            return rules.hold_ends_only_when != "low" or u.reading == LOW
        return False


def _at(count: int | None, span: Span) -> bool:
    """Whether its latest moment has come."""
    return count is not None and count >= span.most
