"""The hold of the oracle's board: disturbed, stopped and going on again."""

from __future__ import annotations

from tests.judge.oracle.book import Book
from tests.judge.oracle.spans import FOREVER, Span
from tests.judge.oracle.unit import BETWEEN, HIGH, LOST, LOW, Unit

#: A loss too short to qualify, taken for a band.
FOR_NOW = ("rest, for now", "all, for now")


def read(u: Unit, was: str, book: Book) -> list[Unit]:
    """In the hold the sensors say something else than before."""
    if u.reading == LOW and not u.aware:
        return [low_again(u, book)]
    if u.reading == LOST:
        return lost(u, book) if not u.aware else [u]
    if u.aware:
        return [u._replace(stands="rest") if u.stands is None and u.by == "pause" else u]
    return [u] if was in (BETWEEN, HIGH) else disturbed(u, book)


def begun(u: Unit, book: Book) -> list[Unit]:
    """A hold has begun, whatever the sensors say."""
    if u.reading == LOW:
        return [u]
    return lost(u, book) if u.reading == LOST else disturbed(u, book)


def low_again(u: Unit, book: Book) -> Unit:
    hold = book.hold if u.stands in ("all", "all, for now") else u.hold
    if u.stands == "clear and all":
        most = book.back.most + book.clear.most + book.hold.most
        hold = Span(book.hold.least, min(FOREVER, most))
    return u._replace(hold=hold, stands=None, unseen=None)


def disturbed(u: Unit, book: Book) -> list[Unit]:
    """Not low: continue, pause or restart; a disturbance shorter than the trip's min may go unseen."""
    if u.stands is not None:
        return [u]
    ways = []
    for rule in book.options("band"):
        if rule == "continue":
            ways.append(u)
        else:
            ways += [u._replace(unseen=0), u._replace(stands="rest" if rule == "pause" else "all")]
    return ways


def lost(u: Unit, book: Book) -> list[Unit]:
    """A loss not yet qualified may disturb the hold as either rule says, or not."""
    if u.stands is not None:
        return [u]
    ways = [u]
    band, loss = book.options("band"), book.options("lost")
    if "pause" in loss:
        ways.append(u._replace(stands="rest"))
    if "pause" in band:
        ways.append(u._replace(stands="rest, for now"))
    if "restart" in band:
        ways.append(u._replace(stands="all, for now"))
    if "restart" in loss:
        ways.append(u._replace(stands="clear and all"))
    return ways


def loss_qualified(u: Unit, book: Book) -> list[Unit]:
    """A loss has been noticed in the hold."""
    if u.stands in FOR_NOW:
        return []  # only a loss too short to qualify may be taken for a band
    ways = []
    for rule in book.options("lost"):
        v = u._replace(by=rule)
        ways.append(v._replace(hold=None, stands="clear and all") if rule == "restart" else v)
    return ways
