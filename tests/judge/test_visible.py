"""Faults that no good board could have shown are found; a seeded share of tests/performance/visible.py."""

from __future__ import annotations

import dataclasses
import functools
import os

from tests.judge.oracle.decide import explainable
from tests.judge.oracle_cases import book_of
from tests.judge.visible import ROUNDINGS, Run, answered, either, judged, names_it, run, seen, visible

SEEDS = int(os.environ.get("SEEDS", "80"))


#: Visible faults that were once not noticed, each for another reason; the campaign found them.
ONCE_UNNOTICED = (3301716, 6002175, 6005589, 6007174, 6009456, 6013079, 6015220)


@functools.cache
def shown() -> list[tuple[int, Run]]:
    """Runs whose fault is visible, on boards that answered at all."""
    runs = [(seed, run(seed)) for seed in range(2000, 2000 + SEEDS)]
    return [(seed, one) for seed, one in runs if answered(one) and visible(one) is not None]


def test_a_visible_fault_gets_a_failed_finding_with_its_requirement():
    assert len(shown()) >= SEEDS / 10
    for seed, one in shown():
        failed = [f for f in judged(one).findings if f.verdict == "fail"]
        assert names_it(one, failed) or (failed and either(one, failed)), (
            f"seed {seed}, {one.flaw.name}: {[f.text for f in failed]}"
        )


def test_what_was_once_not_noticed_is():
    for seed in ONCE_UNNOTICED:
        assert any(f.verdict == "fail" for f in judged(run(seed)).findings), seed


def test_the_same_boards_without_their_fault_are_explained_and_not_failed():
    for seed, _ in shown():
        one = run(seed, flawed=False)
        assert [f.text for f in judged(one).findings if f.verdict == "fail"] == [], seed
        assert [explainable(seen(one, share), book_of(one.parameters)) for share in ROUNDINGS] == [None] * 3


def test_what_could_be_another_fault_is_told_from_what_could_not():
    seed = next(
        s for s in range(3000) if (one := run(s)).flaw.kind == "hold-long" and visible(one) is not None
    )
    one = run(seed)
    (name,) = {f.requirement for f in judged(one).findings if f.verdict == "fail"}
    assert name == "hold" and either(one, [f for f in judged(one).findings if f.verdict == "fail"])
    as_trip = [
        dataclasses.replace(f, requirement="trip") for f in judged(one).findings if f.verdict == "fail"
    ]
    assert not either(one, as_trip)
