"""Until when the judge lets something happen, where the campaigns meet the end of it too seldom to show it."""

from __future__ import annotations

import dataclasses
from typing import Any, cast

import pytest

from bench.judge import failures, orders
from bench.judge.book import Book
from bench.judge.modes import Due, dues
from bench.judge.possibility import Expect, Possibility
from bench.judge.tracker import Live, Tracker
from bench.judge.window import Limit, Stamp, Window, at
from firmware_ref.parameters import Interval, Restart
from tests.boards import S, furnace
from tests.judge.random_profiles import random_parameters
from tests.judge.random_runs import random_run

_EARLY, _LATE = 100 * S, 200 * S
_ENTERED = Window(Limit(_EARLY, 0, 0), Limit(_LATE, 0, 0), Stamp(_EARLY, 0))


def started() -> Tracker:
    parameters = furnace()
    levels = {o.name: False for o in parameters.outputs}
    return Tracker.start(parameters, 0, Stamp(0, 0), levels, Book(parameters, 0, "guarded"), failures.resolve)


def test_what_has_qualified_before_a_mode_falls_with_its_entry_as_late_as_that_may_be():
    tracker = started()
    tracker.world.conditions.supply(True, Stamp(1 * S, 0))  # with the sensor open: lost from there on
    p = tracker.possibilities[0]._replace(
        state="leak_active", event="tripped", entered=_ENTERED, supplied=Stamp(1 * S, 0)
    )
    lost = next(due for due in dues(p, tracker.world) if due.event == "lost")
    assert (lost.window.opens_us, lost.closes_us) == (_EARLY, _LATE)


def test_an_output_that_its_restart_delay_held_up_has_its_reaction_besides():
    output = dataclasses.replace(
        furnace().output("Y"), restart=Restart(frozenset({"any-off"}), Interval(3 * S, 5 * S))
    )
    call = orders.Call(on=True, stamp=Stamp(11 * S, 0), before=Stamp(10 * S, 0))
    p = started().possibilities[0]._replace(state="normal")
    lock = at(Stamp(10 * S, 0))
    expect = orders.on_call(output, Expect(want=False), p, call, lock, call.stamp, 0)
    assert expect.requirement == "restart"
    assert expect.due is not None
    assert (expect.due.opens_us, expect.due.closes_us) == (13 * S, 15 * S + output.react_on.max_us)


class Watched:
    """A possibility that notes which of its fields are looked at."""

    def __init__(self, p: Possibility, fields: set[str]) -> None:
        self._p, self._fields = p, fields

    def __getattr__(self, name: str) -> Any:
        self._fields.add("state" if name == "mode" else name)
        return getattr(self._p, name)


@pytest.mark.parametrize("seed", range(12))
def test_what_a_possibility_waits_for_stands_for_as_long_as_it_is_kept(seed, monkeypatch):
    fields: set[str] = set()

    def dues_of(self: Tracker, live: Live) -> list[Due]:
        known = worked_out(self, live)
        assert known == list(dues(cast(Possibility, Watched(live.p, fields)), self.world))
        return known

    worked_out = Tracker.dues_of
    monkeypatch.setattr(Tracker, "dues_of", dues_of)
    random_run(random_parameters(seed), seed, steps=20).judge()
    assert {"state", "entered"} <= fields <= set(AWAITED)


AWAITED = {
    "state": "normal",
    "entered": _ENTERED,
    "event": "warmed_up",
    "latched": True,
    "supplied": Stamp(1 * S, 0),
    "hold": _ENTERED,
    "hold_before": _ENTERED,
}


@pytest.mark.parametrize("field", AWAITED)
def test_possibilities_that_differ_in_what_is_looked_at_do_not_wait_alike(field):
    p = started().possibilities[0]
    assert p.waits_like(p._replace(opened=frozenset({("booted", 0)}), locks=()))
    assert not p.waits_like(p._replace(**{field: AWAITED[field]}))
