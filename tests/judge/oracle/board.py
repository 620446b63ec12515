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
from dataclasses import dataclass
from typing import NamedTuple

from firmware_ref.parameters import Interval, Mode, Parameters, Policy
from tests.judge.oracle.pins import FREE, FREE_NOT_ON, STAYS, Pin, Span

LOW, BETWEEN, HIGH, LOST = "low", "between", "high", "lost"
_START, _NORMAL, _LEAK, _HOLD, _FAULT = (
    Mode.START_UP, Mode.NORMAL, Mode.LEAK_ACTIVE, Mode.POST_LEAK_HOLD, Mode.SENSOR_FAULT,
)  # fmt: skip


class Unit(NamedTuple):
    """The board.  Counts are steps for which something has gone on, None: it does not.

    `may_read`: what its sensor's signal may be taken for, `reading`: what it
    takes it for.  `aware`: a loss has qualified while mitigating.
    `good_late`: since the later of good again and no longer high.  `hold`:
    what is left of the hold.  `stands`: the hold does not run; at low again
    `rest` of it runs, or all of it (`all`).  `unseen`: of a disturbance that
    the hold takes no notice of.  `early`: the fault came during start-up.
    """

    mode: Mode
    pins: tuple[Pin, ...]
    may_read: frozenset[str]
    reading: str
    up: int | None = None
    aware: bool = False
    latched: bool = False
    trip: int | None = None
    lost: int | None = None
    clear: int | None = None
    good: int | None = None
    good_late: int | None = None
    hold: Span | None = None
    stands: str | None = None
    unseen: int | None = None
    early: bool = False


@dataclass(frozen=True)
class Rulebook:
    """The parameters in whole steps, and what a board under them may do."""

    parameters: Parameters
    step_us: int

    def __post_init__(self) -> None:
        t = self.parameters.timing
        outputs = self.parameters.outputs
        totals = [(self._span(o.trip), self._span(o.loss)) for o in outputs]
        everyone = [(self._span(t.trip), self._span(t.loss)), *totals]
        kept = {
            "boot": self._span(t.boot), "warm_up": self._span(t.warm_up), "clear": self._span(t.clear),
            "hold": self._span(t.hold), "back": self._span(t.return_),
            "trip": Span(min(e[0].least for e in everyone), min(e[0].most for e in everyone)),
            "loss": Span(min(e[1].least for e in everyone), min(e[1].most for e in everyone)),
            "totals": totals,
            "react": [(self._span(o.react_off), self._span(o.react_on)) for o in outputs],
            "follow": [(self._span(o.follow_off), self._span(o.follow_on)) for o in outputs],
        }  # fmt: skip
        for name, value in kept.items():
            object.__setattr__(self, name, value)
        object.__setattr__(self, "_oldest", 1 + max(s.most for f in kept["follow"] for s in f))

    def _span(self, interval: Interval | None) -> Span:
        assert interval is not None
        if interval.min_us % self.step_us or interval.max_us % self.step_us:
            raise ValueError(f"{interval} is not on a grid of {self.step_us} us")
        return Span(interval.min_us // self.step_us, interval.max_us // self.step_us)

    # --- stimuli ----------------------------------------------------------------

    def initial(self) -> Unit:
        pins = tuple(
            Pin(level=False, policy=self._unfed(o, _START), call=False, call_age=self._oldest)
            for o in self.parameters.outputs
        )
        return Unit(Mode.UNPOWERED, pins, frozenset({LOST}), LOST)

    def _unfed(self, output, coming: Mode) -> str:
        """Without supply only this is judged: off before and after may not turn on."""
        stays_off = output.modes[Mode.UNPOWERED] is Policy.OFF and output.modes[coming] is Policy.OFF
        return FREE_NOT_ON if stays_off else FREE

    def called(self, u: Unit, call: str, on: bool) -> Unit:
        return u._replace(
            pins=tuple(
                pin.called(on, self.follow[n]) if o.call == call and pin.call != on else pin
                for n, (o, pin) in enumerate(zip(self.parameters.outputs, u.pins, strict=True))
            )
        )

    def supplied(self, u: Unit) -> list[Unit]:
        """The supply comes; with it every condition begins."""
        good = None if u.reading == LOST else 0
        return [u._replace(up=0, good=good, good_late=good)]

    def signalled(self, u: Unit, may_read: frozenset[str]) -> list[Unit]:
        """The sensor's signal changes; inside a band both readings are right."""
        return [v for r in may_read for v in self.read(u._replace(may_read=may_read), r)]

    def read(self, u: Unit, reading: str) -> list[Unit]:
        """The board takes the sensor for something else from now on."""
        was = u.reading
        if reading == was:
            return [u]
        u = u._replace(reading=reading)
        if u.up is None:
            return [u]
        if reading == LOST:
            u = u._replace(good=None, good_late=None)
        elif was == LOST:
            u = u._replace(good=0, good_late=0)
        elif was == HIGH:
            u = u._replace(good_late=0)
        watching = u.mode in (_NORMAL, _HOLD) and not u.aware
        u = u._replace(
            trip=0 if reading == HIGH and watching else None,
            lost=0 if reading == LOST and (watching or (u.mode is _LEAK and not u.aware)) else None,
        )
        ways = self._clear_timer(u, was) if u.mode is _LEAK and not u.aware else [u._replace(clear=None)]
        if u.mode is _HOLD:
            ways = [w for v in ways for w in self._hold_read(v, was)]
        return ways

    def _clear_timer(self, u: Unit, was: str) -> list[Unit]:
        """Low runs the clear timer; a loss too short to be noticed may leave it running."""
        if u.reading == LOW:
            return [u if was == LOST and u.clear is not None else u._replace(clear=0)]
        broken = u._replace(clear=None)
        return [broken, u] if u.reading == LOST and was == LOW and u.clear is not None else [broken]

    def _hold_read(self, u: Unit, was: str) -> list[Unit]:
        if u.reading == LOW and not u.aware:
            return [self._low_again(u)]
        if u.reading == LOST:
            return self._hold_lost(u, was) if not u.aware else [u]
        if u.aware:
            return [u._replace(stands="rest") if u.stands is None and self._rule("lost") == "pause" else u]
        return [u] if was in (BETWEEN, HIGH) else self._hold_disturbed(u)

    def _low_again(self, u: Unit) -> Unit:
        hold = self.hold if u.stands in ("all", "all, for now") else u.hold
        if u.stands == "clear and all":
            hold = Span(self.hold.least, self.back.most + self.clear.most + self.hold.most)
        return u._replace(hold=hold, stands=None, unseen=None)

    def _hold_disturbed(self, u: Unit) -> list[Unit]:
        """Not low: continue, pause or restart; a disturbance shorter than the trip's min may go unseen."""
        rule = self._rule("band")
        if rule == "continue" or u.stands is not None:
            return [u]
        unseen = u._replace(unseen=0)
        return [unseen, u._replace(stands="rest" if rule == "pause" else "all")]

    def _hold_lost(self, u: Unit, was: str) -> list[Unit]:
        """A loss not yet qualified may disturb the hold as either rule says, or not."""
        if u.stands is not None:
            return [u]
        ways = [u]
        band, lost = self._rule("band"), self._rule("lost")
        if lost == "pause":
            ways.append(u._replace(stands="rest"))
        if band == "pause":
            ways.append(u._replace(stands="rest, for now"))
        if band == "restart":
            ways.append(u._replace(stands="all, for now"))
        if lost == "restart":
            ways.append(u._replace(stands="clear and all"))
        return ways

    def _rule(self, name: str) -> str | None:
        rules = self.parameters.rules
        return rules.hold_on_band if name == "band" else rules.hold_when_lost

    # --- what it may do by itself --------------------------------------------------

    def happenings(self, u: Unit) -> Iterator[Unit]:
        for n, (output, pin) in enumerate(zip(self.parameters.outputs, u.pins, strict=True)):
            for moved in pin.happenings(output.feed != "call", self.follow[n]):
                yield u._replace(pins=(*u.pins[:n], moved, *u.pins[n + 1 :]))
        if u.up is None:
            return
        for reading in u.may_read - {u.reading}:
            yield from self.read(u, reading)
        yield from self._timers(u)

    def _timers(self, u: Unit) -> Iterator[Unit]:
        mode = u.mode
        if u.trip is None and u.reading == HIGH and mode in (Mode.UNPOWERED, _START):
            yield u._replace(trip=0)
        if u.lost is None and u.reading == LOST and mode in (Mode.UNPOWERED, _START):
            yield u._replace(lost=0)
        if mode is Mode.UNPOWERED:
            if u.up >= self.boot.least:
                stay = u._replace(pins=tuple(p._replace(policy=STAYS, moves=(), switches=()) for p in u.pins))
                yield self._enter(stay, _START)
            return
        high = u.reading == HIGH
        if u.trip is None and high and (mode is _FAULT or (mode is _HOLD and u.aware)):
            yield u._replace(trip=0)
        waits = high and self.parameters.rules.check_before_normal
        if mode is _START and u.up >= self.warm_up.least and not waits:
            yield self._watching(self._enter(u, _NORMAL))
        if u.trip is not None and u.trip >= self.trip.least:
            v = self._enter(u, _LEAK, 0, u.trip)
            yield v._replace(trip=None, aware=False, hold=None, stands=None, unseen=None, early=False)
        if u.lost is not None and u.lost >= self.loss.least and not u.aware:
            yield from self._loss(u)
        if mode is _LEAK and u.clear is not None and u.clear >= self.clear.least and not u.aware:
            yield from self._enter_hold(u._replace(clear=None))
        if mode is _HOLD and u.stands is None and u.hold is not None and u.hold.least == 0:
            yield from self._hold_over(u)
        if mode is _HOLD and u.stands is None and u.lost is not None and self._rule("lost") == "pause":
            yield u._replace(stands="rest", unseen=None)
        if mode is _LEAK and u.aware and u.reading == LOW and u.clear is None:
            yield u._replace(clear=0)
        if u.good is not None and u.good >= self.back.least:
            yield from self._returned(u)

    def _watching(self, u: Unit) -> Unit:
        """In a mode that watches the sensor, a qualification that had not begun begins."""
        return u._replace(
            trip=0 if u.reading == HIGH and u.trip is None else u.trip,
            lost=0 if u.reading == LOST and u.lost is None else u.lost,
        )

    def _loss(self, u: Unit) -> Iterator[Unit]:
        latching = self.parameters.rules.latching
        if u.mode in (_START, _NORMAL):
            v = self._enter(u, _FAULT, 1, u.lost)._replace(lost=None, early=u.mode is _START)
            yield from self._latches(
                v, (True,) if latching else (False,) if latching is False else (True, False)
            )
            return
        if u.stands in ("rest, for now", "all, for now"):
            return  # only a loss too short to qualify may be taken for a band
        v = u._replace(aware=True, clear=None, unseen=None)
        if u.mode is _HOLD and self._rule("lost") == "restart":
            v = v._replace(hold=None, stands="clear and all")
        elif u.mode is _HOLD and self._rule("lost") == "run":
            v = v._replace(hold=v.hold)
        yield from self._latches(v, (u.latched,) if latching is False or u.latched else (True, False))

    def _latches(self, u: Unit, ways: tuple[bool, ...]) -> list[Unit]:
        return [u._replace(latched=way) for way in ways]

    def _enter_hold(self, u: Unit) -> list[Unit]:
        v = self._enter(u, _HOLD)._replace(hold=self.hold, stands=None, unseen=None)
        if v.reading == LOW:
            return [v]
        return self._hold_lost(v, LOW) if v.reading == LOST else self._hold_disturbed(v)

    def _hold_over(self, u: Unit) -> Iterator[Unit]:
        rules = self.parameters.rules
        if u.aware and self._rule("lost") != "run":
            return
        if rules.hold_ends_only_when == "low" and u.reading != LOW:
            return
        v = u._replace(hold=None, stands=None, unseen=None, aware=False)
        if u.aware and u.reading == LOST:
            v = self._enter(v, _FAULT)._replace(trip=None, lost=None)
            latching = rules.latching
            yield from self._latches(
                v, (True,) if latching or u.latched else (False,) if latching is False else (True, False)
            )
        elif u.latched:
            yield self._enter(v, _FAULT)._replace(lost=None)
        else:
            yield self._watching(self._enter(v, _NORMAL))

    def _returned(self, u: Unit) -> Iterator[Unit]:
        rules = self.parameters.rules
        if u.reading == HIGH and (rules.return_only_when == "not-high" or u.good > self.back.most):
            return  # while high it returns as if it were not, or waits
        if u.mode is _LEAK and u.aware:
            clear = 0 if u.reading == LOW and u.clear is None else u.clear
            yield u._replace(aware=False, clear=clear)
        elif u.mode is _HOLD and u.aware:
            if self._rule("lost") == "restart":
                v = self._enter(u, _LEAK)._replace(aware=False, hold=None, stands=None, trip=None)
                yield v._replace(clear=0 if v.reading == LOW else None)
                return
            v = self._watching(u._replace(aware=False))
            if v.reading == LOW:
                yield self._low_again(v)
            else:
                yield from self._hold_disturbed(v._replace(stands=None))
        elif u.mode is _FAULT and not u.latched:
            if rules.after_fault == "hold":
                yield from (self._watching(v) for v in self._enter_hold(u))
                return
            yield self._watching(self._enter(u, _NORMAL)._replace(early=False))
            if u.early and u.up < self.warm_up.most:
                yield self._enter(u, _START)._replace(early=False)

    def _enter(self, u: Unit, mode: Mode, total: int | None = None, elapsed: int = 0) -> Unit:
        """The hidden instant; each output moves at its own moment after it."""
        pins = []
        for n, (output, pin) in enumerate(zip(self.parameters.outputs, u.pins, strict=True)):
            policy = output.modes[mode]
            wants = pin.call if policy is Policy.FOLLOW else policy is Policy.ON
            window = self.react[n][wants]
            if total is not None:
                least, most = self.totals[n][total]
                window = Span(max(0, least - elapsed), most - elapsed)
            pins.append(pin.ordered(policy, window))
        return u._replace(mode=mode, pins=tuple(pins))

    # --- time ------------------------------------------------------------------------

    def ticked(self, u: Unit) -> Unit | None:
        pins = []
        for pin in u.pins:
            later = pin.ticked(self._oldest)
            if later is None:
                return None
            pins.append(later)
        if u.up is None:
            return u._replace(pins=tuple(pins))
        if self._overdue(u):
            return None
        clear, hold = u.clear, u.hold
        if clear is not None:
            clear = None if clear == self.clear.most and not u.aware else min(clear + 1, self.clear.most)
        if hold is not None and u.stands is None:
            hold = Span(max(0, hold.least - 1), max(0, hold.most - 1))
        return u._replace(
            pins=tuple(pins),
            up=min(u.up + 1, self.warm_up.most),
            trip=_more(u.trip, self.trip.most),
            lost=_more(u.lost, self.loss.most),
            clear=clear,
            good=_more(u.good, self.back.most + 1),
            good_late=_more(u.good_late, self.back.most),
            hold=hold,
            unseen=None if u.unseen is None else u.unseen + (u.reading in (BETWEEN, HIGH)),
        )

    def _overdue(self, u: Unit) -> bool:
        mode, rules = u.mode, self.parameters.rules
        high = u.reading == HIGH
        if mode is Mode.UNPOWERED:
            return u.up == self.boot.most
        if mode is _START and u.up == self.warm_up.most and not (high and rules.check_before_normal):
            return True
        if u.trip == self.trip.most:
            return True
        if u.lost == self.loss.most and not u.aware:
            return True
        if u.lost == self.loss.most and mode is _HOLD and u.stands is None and self._rule("lost") == "pause":
            return True
        if (
            high
            and u.trip is None
            and u.good >= self.back.most
            and (mode is _FAULT or (mode is _HOLD and u.aware))
        ):
            return True
        if mode is _LEAK and not u.aware and u.clear == self.clear.most and u.reading == LOW:
            return True
        waits = u.aware or (mode is _FAULT and not u.latched)
        if waits and u.good_late == self.back.most and not high:
            return True
        if u.unseen is not None and u.unseen == self.trip.least and u.reading in (BETWEEN, HIGH):
            return True
        runs = mode is _HOLD and u.stands is None and u.hold is not None and u.hold.most == 0
        if runs and not (u.aware and self._rule("lost") != "run"):
            return not (rules.hold_ends_only_when == "low" and u.reading != LOW)
        return False


def _more(count: int | None, most: int) -> int | None:
    return None if count is None else min(count + 1, most)
