"""What plain contacts say, and what a run with a trouble contact proves."""

from __future__ import annotations

from dataclasses import replace

import pytest

from bench.judge.conditions import readings
from bench.judge.judge import judge_trace
from bench.procedure import load
from bench.run.dry_run import synthetic
from firmware_ref.parameters import Condition, Sensor
from tests.boards import air_handler
from tests.run.fakes import profile_of

LOW, HIGH, LOST = Condition.LOW, Condition.HIGH, Condition.LOST


@pytest.mark.parametrize("leak_when", ["open", "closed"])
def test_a_plain_contact_has_two_states(leak_when: str) -> None:
    sensor = Sensor("1", "contact", frozenset(), leak_when=leak_when)
    leak, normal = ("short", "open") if leak_when == "closed" else ("open", "short")
    assert readings(sensor, leak) == {HIGH}
    assert readings(sensor, normal) == {LOW}


@pytest.mark.parametrize(
    ("lost_by", "leak", "trouble", "reads"),
    [
        ({"trouble"}, "open", "short", {LOW}),
        ({"trouble"}, "short", "short", {HIGH}),
        ({"trouble"}, "open", "open", {LOST}),
        # What a leak contact says while its sensor is in trouble may be believed or not.
        ({"trouble"}, "short", "open", {LOST, HIGH}),
        # A board that need not notice trouble may do anything in it.
        (set(), "open", "open", set(Condition)),
    ],
)
def test_a_trouble_contact(lost_by: set[str], leak: str, trouble: str, reads: set[Condition]) -> None:
    sensor = Sensor("1", "trouble-contact", frozenset(lost_by), trouble_when="open")
    assert readings(sensor, leak, trouble) == reads


def test_trouble_is_a_loss_that_the_finding_names() -> None:
    board = air_handler()
    sensor = Sensor("1", "trouble-contact", frozenset({"trouble"}), trouble_when="open")
    parameters = replace(board, sensors=(sensor,))
    trace, _ = synthetic(load("acceptance", parameters), profile_of(parameters))
    judgement = judge_trace(trace, parameters)
    assert judgement.verdict == "pass", judgement.reason
    losses = [f.text for f in judgement.findings if f.requirement == "loss"]
    assert any("after the trouble contact of sensor 1 went to trouble (open)" in text for text in losses)
