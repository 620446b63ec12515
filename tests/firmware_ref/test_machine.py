"""The derived table against the class, and the class against the written transition table."""

from __future__ import annotations

import dataclasses
import random
from pathlib import Path

import pytest
from statemachine.exceptions import TransitionNotAllowed

import firmware_ref
from firmware_ref.machine import ASKED, GUARDS, MODES, TABLE, WATCH, LeakMitigation, Memory, diagram, targets
from firmware_ref.parameters import Mode, Rules
from tests.boards import furnace

EVENTS = sorted({event for _, event in TABLE})


def random_rules(rng: random.Random) -> Rules:
    return Rules(
        hold_when_lost=rng.choice(("restart", "pause", "run")),
        leak_in_self_test=rng.choice(("ends", "waits")),
        loss_in_self_test=rng.choice(("ends", "waits")),
        after_fault=rng.choice(("normal", "hold")),
        latching=rng.random() < 0.5,
        after_supply_loss=rng.choice(("resume", "restart_hold", "forget")),
    )


def test_table_and_class_go_in_lockstep():
    for seed in range(40):
        rng = random.Random(seed)
        rules = random_rules(rng)
        machine = LeakMitigation(rules)
        state = "unpowered"
        for _ in range(60):
            event = rng.choice(EVENTS)
            machine.memory.sensor_good = rng.random() < 0.5
            if event == "supply_lost":
                machine.memory.mitigation = rng.choice((None, "leak", "hold"))
            reached = targets(state, event, rules, machine.memory)
            if not reached:
                with pytest.raises(TransitionNotAllowed):
                    machine.send(event)
                continue
            machine.send(event)
            assert machine.state_id == reached[0]
            assert len(reached) == 1, "every rule is stated here"
            state = reached[0]


def test_every_arc_of_the_table_is_named_in_the_class():
    states = {s.id for s in LeakMitigation.states}
    assert {s for s, _ in TABLE} == states == set(MODES) == set(WATCH)
    for (state, _), arcs in TABLE.items():
        for arc in arcs:
            assert arc.target in states
            assert arc.guard is None or arc.guard in GUARDS
        assert [a.guard for a in arcs].count(None) <= 1
        waits = state == "self_test"  # where the profile may say that nothing comes of it
        assert arcs[-1].guard is None or waits, "the last arc must always be open"


def test_every_watched_event_leads_somewhere():
    for state, watches in WATCH.items():
        for watch in watches:
            assert (state, watch.event) in TABLE


def test_a_rule_not_stated_leads_both_ways():
    rules = Rules(hold_when_lost=None, latching=None)
    assert set(targets("normal", "lost", rules, Memory())) == {"sensor_fault", "sensor_fault_latched"}
    both = targets("post_leak_hold_lost", "returned", rules, Memory())
    assert set(both) == {"leak_active", "post_leak_hold"}


@pytest.mark.parametrize(
    ("state", "event", "memory", "expected"),
    [
        ("unpowered", "booted", Memory(), "start_up"),
        ("unpowered", "booted", Memory(mitigation="leak"), "leak_active"),
        ("unpowered", "booted", Memory(mitigation="hold"), "post_leak_hold"),
        ("unpowered", "booted", Memory(latched=True), "sensor_fault_latched"),
        ("start_up", "warmed_up", Memory(), "normal"),
        ("start_up", "tripped", Memory(), "leak_active"),
        ("start_up", "lost", Memory(), "sensor_fault"),
        ("normal", "tripped", Memory(), "leak_active"),
        ("normal", "lost", Memory(), "sensor_fault"),
        ("leak_active", "cleared", Memory(), "post_leak_hold"),
        ("leak_active", "lost", Memory(), "leak_active_lost"),
        ("leak_active_lost", "returned", Memory(), "leak_active"),
        ("post_leak_hold", "hold_over", Memory(), "normal"),
        ("post_leak_hold", "hold_over", Memory(latched=True), "sensor_fault_latched"),
        ("post_leak_hold", "tripped", Memory(), "leak_active"),
        ("post_leak_hold", "lost", Memory(), "post_leak_hold_lost"),
        ("post_leak_hold_lost", "hold_over", Memory(sensor_good=False), "sensor_fault"),
        ("post_leak_hold_lost", "hold_over", Memory(sensor_good=True), "normal"),
        ("sensor_fault", "tripped", Memory(), "leak_active"),
        ("sensor_fault", "returned", Memory(), "normal"),
        ("sensor_fault_latched", "tripped", Memory(), "leak_active"),
        ("normal", "supply_lost", Memory(), "unpowered"),
        ("normal", "self_test_asked", Memory(), "self_test"),
        ("self_test", "self_test_over", Memory(), "normal"),
        ("self_test", "supply_lost", Memory(), "unpowered"),
        ("sensor_fault_latched", "reset_asked", Memory(latched=True), "normal"),
    ],
)
def test_rows_of_the_required_behaviour(state, event, memory, expected):
    assert targets(state, event, Rules(hold_when_lost="run"), memory)[0] == expected


def test_a_latched_fault_waits_for_its_reset_and_not_for_the_sensor():
    assert not targets("sensor_fault_latched", "returned", Rules(latching=True), Memory(latched=True))
    assert "returned" not in {w.event for w in WATCH["sensor_fault_latched"]}


def test_what_a_leak_or_a_loss_does_to_a_self_test_is_the_profile_s_word():
    for rule, leak, loss in (
        ("ends", ["leak_active"], ["sensor_fault"]),
        ("waits", [], []),
        (None, ["leak_active"], ["sensor_fault"]),  # and it may stay, too
    ):
        rules = Rules(leak_in_self_test=rule, loss_in_self_test=rule)
        assert list(targets("self_test", "tripped", rules, Memory())) == leak
        assert list(targets("self_test", "lost", rules, Memory())) == loss
    latching = Rules(loss_in_self_test="ends", latching=True)
    assert targets("self_test", "lost", latching, Memory()) == ("sensor_fault_latched",)


def test_the_button_does_nothing_in_any_other_mode():
    asked = {(state, event) for state, event in TABLE if event in ASKED.values()}
    assert asked == {("normal", "self_test_asked"), ("sensor_fault_latched", "reset_asked")}


def test_mitigation_is_never_left_by_a_sensor_loss():
    for state in ("leak_active", "post_leak_hold"):
        for rule in ("restart", "pause", "run"):
            for target in targets(state, "lost", Rules(hold_when_lost=rule), Memory()):
                assert MODES[target] in (Mode.LEAK_ACTIVE, Mode.POST_LEAK_HOLD)


def test_the_diagram_is_drawn_from_the_class():
    text = diagram()
    assert text.startswith("stateDiagram")
    for state, event in TABLE:
        assert state in text, event


def test_parameters_are_frozen():
    with pytest.raises(dataclasses.FrozenInstanceError):
        furnace().timing.glitch_us = 1  # type: ignore[misc]


def test_the_page_shows_the_class_as_it_is():
    page = (Path(firmware_ref.__file__).parent / "MACHINE.md").read_text(encoding="utf-8")
    assert diagram().rstrip() in page
    for state, watches in WATCH.items():
        (row,) = [line for line in page.splitlines() if line.startswith(f"| `{state}` |")]
        assert f"| {MODES[state]} |" in row
        for watch in watches:
            assert (
                f"`{watch.event}` once {watch.timer.replace('_', '-')} has run on: {watch.needs.value}" in row
            )
