"""A board may remember what it was cut off in before the run: that is no fault of it, and no proof either."""

from __future__ import annotations

import dataclasses

from bench.judge.judge import REMEMBERS
from tests.boards import furnace
from tests.scripted import CLEAR, Script


def came_up_mitigating(parameters=None) -> Script:
    """Cut off under a leak some time ago: the blower runs from boot, calls are blocked until clear and hold are over."""
    s = Script(parameters or furnace()).sensor(0.5, CLEAR).supply(1.0).out(1.8, G=True)
    s.call(20, Y=True).call(25, Y=False).call(30, Y=True)
    return s


def test_it_is_told_to_let_it_run_out():
    judgement = came_up_mitigating().judge(60)
    assert judgement.verdict == "inconclusive"
    assert judgement.reason == REMEMBERS


def test_it_must_end_all_the_same():
    # clear up to 7 s and hold up to 365 s after the supply: by 374 s the calls must pass
    assert came_up_mitigating().judge(500).verdict == "fail"
    assert came_up_mitigating().out(367, Y=True, G=False).judge(500).verdict == "inconclusive"


def test_a_board_that_forgets_has_no_such_excuse():
    forgets = dataclasses.replace(furnace().rules, after_supply_loss="forget")
    assert came_up_mitigating(dataclasses.replace(furnace(), rules=forgets)).judge(60).verdict == "fail"


def test_a_blower_that_runs_while_calls_pass_is_no_memory():
    assert (
        came_up_mitigating().out(20.1, Y=True).out(25.1, Y=False).out(30.1, Y=True).judge(60).verdict
        == "fail"
    )
