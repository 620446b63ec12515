"""However much may be true at once, the judge holds few possibilities; and what it takes together still allows all of it."""

from __future__ import annotations

import itertools

import pytest

from bench.judge import failures, tracker
from bench.judge.book import Book
from bench.judge.possibility import COARSE_KEYS, Possibility
from bench.judge.tracker import MOST, Tracker
from bench.judge.window import Limit, Stamp, Window
from firmware_ref.machine import MODES
from tests.boards import furnace
from tests.performance.campaign import some

_HERE = Stamp(1_000_000, 500)
_WINDOW = Window(Limit(1_000_000, 500, 500), Limit(9_000_000, 500, 500), _HERE)


def everything(p: Possibility) -> list[Possibility]:
    """The possibility in every state, with every memory, every hold, and every output either way."""
    found = []
    for state, latched, mitigation in itertools.product(MODES, (False, True), (None, "leak", "hold")):
        for hold, left in itertools.product((None, _WINDOW), (None, (0, 5))):
            for wants in itertools.product((False, True), repeat=len(p.expects)):
                expects = tuple(e._replace(want=w, free=False) for e, w in zip(p.expects, wants, strict=True))
                found.append(
                    p._replace(
                        state=state, latched=latched, mitigation=mitigation, hold=hold, left_us=left,
                        entered=_WINDOW, expects=expects, supplied=_HERE,
                    )
                )  # fmt: skip
    return found


def a_tracker() -> Tracker:
    parameters = furnace()
    levels = {o.name: False for o in parameters.outputs}
    book = Book(parameters, 0, "guarded")
    return Tracker.start(parameters, 100, Stamp(0, 0), levels, book, failures.resolve)


def test_everything_at_once_is_held_in_few():
    many = a_tracker()
    pile = everything(many.possibilities[0])
    assert len(pile) > 10 * MOST
    many.keep(pile)
    assert len(many.possibilities) == COARSE_KEYS <= MOST
    assert {p.coarse_key() for p in many.possibilities} == {p.coarse_key() for p in pile}


def test_what_is_taken_together_asks_for_nothing_that_one_of_them_would_break():
    many = a_tracker()
    many.keep(everything(many.possibilities[0]))
    assert all(e.free for p in many.possibilities for e in p.expects)
    assert all(p.hold is not None and p.hold.high is None for p in many.possibilities)


@pytest.fixture
def crowded(monkeypatch: pytest.MonkeyPatch) -> None:
    """A judge that takes possibilities together as if it always had too many."""
    monkeypatch.setattr(tracker, "MANY", 1)
    monkeypatch.setattr(tracker, "MOST", 1)


def test_a_good_board_is_not_failed_by_a_crowded_judge(crowded: None):
    tally = some("good", range(700, 820))
    assert tally.wrong == []
    assert tally.most <= COARSE_KEYS
