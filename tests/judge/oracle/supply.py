"""The supply of the oracle's board: gone, ridden through or not, and back."""

from __future__ import annotations

from firmware_ref.parameters import Mode
from tests.judge.oracle.book import Book
from tests.judge.oracle.pins import FREE, GONE, PASSES, STAYS, Order, Pin
from tests.judge.oracle.spans import FOREVER, Span
from tests.judge.oracle.unit import LOST, Line, Memory, Unit

_LEAK, _HOLD = Mode.LEAK_ACTIVE, Mode.POST_LEAK_HOLD


def gone(u: Unit, book: Book) -> Unit:
    """The supply goes; the electronics live on for a while."""
    pins = tuple(
        p._replace(dark=GONE, stray=False, was=p.shown and "any-off" in one.after)
        for p, one in zip(u.pins, book.limits, strict=True)
    )
    return u._replace(cut=0, ran=0, pins=pins)


def died(u: Unit) -> list[Unit]:
    """The ride-through is over."""
    boards: list[tuple[Pin, ...]] = [()]
    for pin in u.pins:
        dead = pin._replace(level=False, policy=FREE, moves=(), switches=())
        kept = [dead] if pin.lock is None else [dead, dead._replace(lock=None)]
        boards = [(*some, one) for some in boards for one in kept]
    u = u._replace(
        mode=Mode.UNPOWERED, lines=tuple(Line() for _ in u.lines), goods=(None,) * len(u.goods), calm=None,
        up=None, aware=False, by=None, clear=None, hold=None, stands=None, unseen=None, ran=0, early=False,
        memory=None,
    )  # fmt: skip
    return [u._replace(pins=pins) for pins in boards]


def remembered(u: Unit, book: Book) -> list[Memory | None]:
    """What a board that dies now may know afterwards."""
    if u.mode is Mode.UNPOWERED and (u.memory is not None or u.up is None):  # a second cut keeps it
        if u.up is None or book.rules.after_supply_loss is not None:
            return [u.memory]
        return [u.memory, None, Memory()]
    if u.mode not in (_LEAK, _HOLD):
        return [None]
    ways: list[Memory | None] = []
    for rule in book.options("cut"):
        if rule == "forget":
            ways.append(None)
        elif rule == "restart_hold" or u.mode is _LEAK:
            ways.append(Memory())
        else:
            ways += _left(u, book)
    return list(dict.fromkeys(ways))


def from_before(book: Book) -> list[Memory | None]:
    """What a board may know that lost its supply before anybody watched."""
    rules = book.options("cut")
    ways: list[Memory | None] = [None]
    ways += [Memory()] if rules != ("forget",) else []
    ways += [Memory(Span(0, book.hold.most))] if "resume" in rules else []
    return ways


def _left(u: Unit, book: Book) -> list[Memory]:
    """The hold has stopped anywhere between the cut and now."""
    if u.hold is None:
        return [Memory()]
    ways = [Memory(Span(u.hold.least, min(FOREVER, u.hold.most + u.ran)))]
    if u.stands in ("all", "all, for now"):
        ways.append(Memory(book.hold))  # the full hold that it would have had from low again
    if u.stands == "clear and all":
        ways.append(Memory())
    return ways


def back(u: Unit, book: Book) -> list[Unit]:
    """The supply comes, or comes back."""
    if u.up is not None:
        return _ridden(u, book)
    reset = book.rules.reset_supply_off_us
    if u.latched and reset is not None and u.cut is not None and u.cut * book.step_us >= reset:
        u = u._replace(latched=False)
    goods = tuple(None if r == LOST else 0 for r in u.readings)
    u = u._replace(up=0, cut=None, goods=goods, calm=None if u.reading == "high" else 0)
    lines = tuple(Line(good=None if u.said(n) == LOST else 0) for n in range(len(u.lines)))
    pins = tuple(p.locked("power-up", one) for p, one in zip(u.pins, book.limits, strict=True))
    return [u._replace(lines=lines, pins=pins)]


def _ridden(u: Unit, book: Book) -> list[Unit]:
    if any(p.stray and book.off(n, u.mode) for n, p in enumerate(u.pins)):
        return []
    if u.mode is Mode.UNPOWERED:  # still booting
        return [u._replace(cut=None)]
    return [u._replace(cut=None, pins=tuple(p._replace(dark=0) for p in u.pins))]


def may_stray(u: Unit, n: int, pin: Pin, book: Book) -> bool:
    """Whether output `n` may have come on in the dark: unless it is off without supply and in what may come after."""
    if not pin.stray:
        return True
    after = set() if u.mode is Mode.UNPOWERED else {u.mode}
    if u.up is None or u.cut is not None:  # and if it does not ride through, to where its memory takes it
        latches = {u.latched, u.latched and book.rules.reset_supply_off_us is None}
        after |= {coming(memory, latched) for memory in remembered(u, book) for latched in latches}
    elif u.mode is Mode.UNPOWERED:
        after = {coming(u.memory, u.latched)}
    return not all(book.off(n, m) for m in after)


def coming(memory: Memory | None, latched: bool) -> Mode:
    """The mode that follows the boot."""
    if memory is not None:
        return _LEAK if memory.left is None else _HOLD
    return Mode.SENSOR_FAULT if latched else Mode.START_UP


def woken(u: Unit, mode: Mode, book: Book) -> Unit | None:
    """The program starts; until they move, the outputs are as they were without supply."""
    if u.cut is None and any(p.stray and book.off(n, mode) for n, p in enumerate(u.pins)):
        return None
    pins = []
    for n, p in enumerate(u.pins):
        pin = p._replace(
            level=p.shown,
            policy=STAYS,
            moves=(),
            switches=(),
            stray=False,
            dark=None if u.cut is None else p.dark,
        )
        if book.passes(n):  # a resting contact goes on passing its call
            one = book.limits[n]
            most = max(one.react[p.call].most, one.follow[p.call].most - p.call_age)
            late = Order(p.call, 0, most)
            pin = pin._replace(policy=PASSES, moves=() if pin.level == p.call else (late,))
        pins.append(pin)
    return u._replace(pins=tuple(pins))


def left_at_boot(u: Unit, left: Span, book: Book) -> Span:
    """A hold that runs on from anywhere between the supply's return and the end of the warm-up."""
    assert u.up is not None
    waits = max(0, book.warm_up.most - u.up)
    return Span(max(0, left.least - u.up), min(FOREVER, left.most + waits))
