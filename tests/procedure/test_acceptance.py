"""The built-in procedures: what they bring about, seen in the trace of a nominal board."""

from __future__ import annotations

import csv
from dataclasses import replace
from itertools import product

import pytest

from bench import profile
from bench.data import channels_csv
from bench.errors import ProcedureError
from bench.judge.bounds import SIGNAL_BOUND_UV
from bench.procedure import built_in, load
from bench.procedure.levels import moves
from bench.procedure.plan import Move, plan
from bench.procedure.steps import Apply, Procedure
from bench.run.dry_run import synthetic
from bench.trace.records import Edge, Note, Readback, Trace, Voltage
from firmware_ref.parameters import Band, Interval, Parameters, Restart, Rules, Sensor, Timing
from tests.boards import MIN, MS, S, air_handler, buttoned_air_handler, furnace
from tests.run.fakes import profile_of

BOARDS = [furnace, air_handler]


def trace_of(parameters: Parameters, name: str = "acceptance") -> Trace:
    return synthetic(load(name, parameters), profile_of(parameters))[0]


def combinations_in(trace: Trace, calls: tuple[str, ...], *parts: str) -> set[tuple[str, ...]]:
    """The combinations of calls that stood at some time during the parts."""
    now = dict.fromkeys(calls, "off")
    seen, inside = set(), False
    for record in trace.records:
        if isinstance(record, Note):
            inside = record.text in parts
            if inside:
                seen.add(tuple(now.values()))
        elif isinstance(record, Readback) and record.ch.startswith("call."):
            now[record.ch.removeprefix("call.")] = str(record.value)
            if inside:
                seen.add(tuple(now.values()))
    return seen


@pytest.mark.parametrize("board", BOARDS)
@pytest.mark.parametrize("part", ["Combinations of calls", "Leak", "Hold"])
def test_every_combination_of_calls_stands_in_every_mode(board, part):
    parameters = board()
    every = set(product(("on", "off"), repeat=len(parameters.calls)))
    assert combinations_in(trace_of(parameters), parameters.calls, part) == every


def test_of_many_calls_each_changes_by_itself_among_the_others_and_their_opposites():
    parameters = profile.load("invented-packaged-unit").parameters
    for part in ("Combinations of calls", "Leak", "Hold"):
        seen = combinations_in(trace_of(parameters), parameters.calls, part)
        assert len(seen) < 2 ** len(parameters.calls) // 4
        others = {
            (n, one[:n] + one[n + 1 :]) for one in seen for n in range(len(one)) if _turned(one, n) in seen
        }
        for n in range(len(parameters.calls)):
            among = [rest for place, rest in others if place == n]
            assert any(tuple(_OPPOSITE[level] for level in rest) in among for rest in among)


_OPPOSITE = {"on": "off", "off": "on"}


def _turned(one, n):
    return (*one[:n], _OPPOSITE[one[n]], *one[n + 1 :])


@pytest.mark.parametrize("board", BOARDS)
def test_calls_come_first_alone_in_the_order_of_the_profile(board):
    parameters = board()
    steps = [s.doing for s in load("acceptance", parameters).steps]
    first = [d.settings for d in steps if isinstance(d, Apply) and d.settings[0][0].startswith("call.")][:6]
    assert first == [((f"call.{c}", level),) for c in parameters.calls for level in ("on", "off")]


@pytest.mark.parametrize("board", BOARDS)
def test_at_the_first_leak_every_output_has_to_move(board):
    parameters = board()
    trace = trace_of(parameters)
    leak = next(
        r for r in trace.records
        if isinstance(r, Readback) and r.what == "terminal" and (r.value == "leak" or _uv(r) > 1_000_000)
    )  # fmt: skip
    moved = {
        r.ch for r in trace.records
        if isinstance(r, Edge) and leak.latest_us < r.earliest_us <= leak.latest_us + 6 * S
    }  # fmt: skip
    assert moved >= {f"out.{o.name}" for o in parameters.outputs}


def _uv(record: Readback) -> int:
    return record.value.value_uv if isinstance(record.value, Voltage) else 0


def test_the_signal_goes_two_bounds_beyond_the_bands_and_no_further():
    steps = plan(load("acceptance", furnace()), furnace())
    levels = {
        value.value_uv
        for step in steps for action in step.actions if isinstance(action, Move)
        for _, value in action.moves if isinstance(value, Voltage)
    }  # fmt: skip
    # Bands 1.14..1.30 V and 0.82..0.98 V, signal known to 5 mV.
    assert levels == {1_310_000, 810_000}


@pytest.mark.parametrize(("board", "minutes"), [(furnace, 11), (air_handler, 25)])
def test_board_time(board, minutes):
    assert trace_of(board()).records[-1].tick_us < minutes * MIN


def test_a_latched_fault_is_reset_by_cutting_the_supply_long_enough():
    trace = trace_of(air_handler())
    mains = [r for r in trace.records if isinstance(r, Readback) and r.ch == "main"]
    # once after each way of loss, and at the end, so that nothing is left to remember
    assert [r.value for r in mains] == ["closed", "open", "closed", "open", "closed", "open", "closed"]
    for opened, closed in zip(mains[1::2], mains[2::2], strict=True):
        assert closed.earliest_us - opened.latest_us > 10 * S


def test_a_latched_fault_is_reset_once_by_the_button_where_that_resets_it():
    trace = trace_of(buttoned_air_handler())
    mains = [r.value for r in trace.records if isinstance(r, Readback) and r.ch == "main"]
    assert mains == ["closed", "open", "closed", "open", "closed"]
    pressed, released = (r for r in trace.records if isinstance(r, Readback) and r.ch == "button")
    assert (pressed.value, released.value) == ("closed", "open")
    assert released.earliest_us - pressed.latest_us > 4.3 * S


def test_where_nothing_else_resets_it_the_button_does_every_time_and_the_supply_is_cut_once_all_the_same():
    board = buttoned_air_handler()
    trace = trace_of(replace(board, rules=replace(board.rules, reset_supply_off_us=None)))
    mains = [r.value for r in trace.records if isinstance(r, Readback) and r.ch == "main"]
    assert mains == ["closed", "open", "closed"]
    assert sum(isinstance(r, Readback) and r.ch == "button" for r in trace.records) == 6


@pytest.mark.parametrize(("leak_when", "at_leak"), [("closed", "short"), ("open", "open")])
def test_a_plain_contact_is_never_lost(leak_when, at_leak):
    board = air_handler()
    contact = replace(board.sensors[0], kind="contact", lost_by=frozenset(), leak_when=leak_when)
    trace = trace_of(replace(board, sensors=(contact,), rules=Rules()))
    signals = [r.value for r in trace.records if isinstance(r, Readback) and r.ch == "sensor.1"]
    assert set(signals) == {"open", "short"} and signals[0] != at_leak
    leaks = {n.tick_us for n in trace.records if isinstance(n, Note) and n.text == "Leak"}
    after = next(r.value for r in trace.records if isinstance(r, Readback) and r.ch == "sensor.1"
                 and r.latest_us > min(leaks))  # fmt: skip
    assert after == at_leak
    assert {n.text for n in trace.records if isinstance(n, Note)}.isdisjoint({"Sensor lost during a leak"})


@pytest.mark.parametrize("trouble_when", ["open", "closed"])
def test_trouble_shows_without_a_leak_and_comes_first(trouble_when):
    sensor = Sensor("1", "trouble-contact", frozenset({"trouble"}), trouble_when=trouble_when)
    position = {"open": "open", "closed": "short"}
    good = {"open": "short", "closed": "open"}[trouble_when]
    assert moves(sensor, "trouble") == (("sensor.1-trouble", position[trouble_when]), ("sensor.1", "open"))
    assert moves(sensor, "leak") == (("sensor.1", "short"), ("sensor.1-trouble", good))
    assert moves(sensor, "clear") == (("sensor.1", "open"), ("sensor.1-trouble", good))
    with pytest.raises(
        ValueError, match="no signal of this trouble-contact sensor; write leak, normal, clear"
    ):
        moves(sensor, "open")


def test_each_of_two_sensors_trips_once_and_is_lost_in_each_way():
    board = furnace()
    two = replace(board, sensors=(board.sensors[0], replace(board.sensors[0], name="2")))
    applied = [d.settings for s in load("acceptance", two).steps if isinstance(d := s.doing, Apply)]
    assert (("sensor.1", "leak"),) in applied and (("sensor.2", "leak"),) in applied
    for loss in product(("sensor.1", "sensor.2"), ("open", "short")):
        assert (loss,) in applied


def test_sensors_are_lost_together_where_only_losing_all_counts():
    board = furnace()
    two = replace(
        board,
        sensors=(board.sensors[0], replace(board.sensors[0], name="2")),
        rules=replace(board.rules, lost_when="all"),
    )
    applied = [d.settings for s in load("acceptance", two).steps if isinstance(d := s.doing, Apply)]
    assert (("sensor.1", "short"), ("sensor.2", "short")) in applied


def test_restart_is_waited_for():
    board = furnace()
    wait = Restart(frozenset({"release", "power-up"}), Interval(3 * MIN, 4 * MIN))
    outputs = (replace(board.outputs[0], restart=wait), *board.outputs[1:])
    slow = trace_of(replace(board, outputs=outputs)).records[-1].tick_us
    assert slow - trace_of(board).records[-1].tick_us > 3 * 4 * MIN  # two power-ups and a release


def unstated() -> Parameters:
    board = furnace()
    nothing = tuple(replace(o, trip=None, loss=None) for o in board.outputs)
    timing = Timing(
        boot=board.timing.boot, warm_up=board.timing.warm_up, trip=None, clear=None, hold=None, loss=None,
        return_=None, ride_through=None, glitch_us=30 * MS,
    )  # fmt: skip
    return replace(board, outputs=nothing, timing=timing, rules=Rules(latching=None))


@pytest.mark.parametrize("name", ["acceptance", "survey"])
def test_nothing_stated_still_runs_and_says_how_long_it_waits(name):
    parameters = unstated()
    texts = [s.text for s in plan(load(name, parameters), parameters)]
    assert "hold is not stated: wait until an output changes, at most 20 min" in texts
    assert "trip is not stated: wait until an output changes, at most 1 min" in texts
    assert any(isinstance(r, Edge) for r in trace_of(parameters, name).records)


def test_survey_has_the_same_stimuli_and_is_not_judged():
    survey, full = load("survey", furnace()), load("acceptance", furnace())
    assert survey.steps == full.steps
    assert survey.as_json()["judged"] is False and full.as_json()["judged"] is True
    assert {"acceptance", "survey"} <= set(built_in())


def test_the_signal_bound_is_that_of_the_channel_table():
    with channels_csv().open(encoding="utf-8", newline="") as file:
        bounds = {row["bound"] for row in csv.DictReader(file) if row["kind"] == "sensor"}
    assert bounds == {f"{SIGNAL_BOUND_UV // 1000} mV"}


def test_bands_that_would_cross_on_this_bench_are_refused():
    board = furnace()
    tight = replace(board.sensors[0], clear=Band(820_000, 1_131_000))
    with pytest.raises(ProcedureError, match=r"sensor\.1: .*9 mV apart.*would cross"):
        plan(load("acceptance", board), replace(board, sensors=(tight,)))


def test_a_leak_beyond_what_the_input_may_see_is_refused():
    board = furnace()
    low = replace(board.sensors[0], max_uv=1_305_000)
    with pytest.raises(ProcedureError, match=r"sensor\.1: 1\.310 V is outside 0 V to 1\.305 V"):
        plan(load("acceptance", board), replace(board, sensors=(low,)))


def test_a_falling_sensor_is_driven_the_other_way():
    board = furnace()
    falling = replace(
        board.sensors[0], points=((0.0, 4_500_000), (100.0, 500_000)),
        trip=Band(3_700_000, 3_860_000), clear=Band(4_020_000, 4_180_000),
    )  # fmt: skip
    board = replace(board, sensors=(falling,))
    one = Procedure(
        "one", "", tuple(s for s in load("acceptance", board).steps if isinstance(s.doing, Apply))
    )
    words = {}
    for step, planned in zip(one.steps, plan(one, board), strict=True):
        for (ch, word), (_, value) in zip(step.doing.settings, planned.actions[0].moves, strict=True):
            if ch == "sensor.1" and isinstance(value, Voltage):
                words[word] = value.value_uv
    assert words == {"leak": 3_690_000, "clear": 4_190_000}
