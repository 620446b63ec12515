"""`levels`: where boards trip and clear is found within what is stated, and no good board is failed by it."""

from __future__ import annotations

import os
from dataclasses import replace

import pytest

from bench.errors import ProcedureError
from bench.judge.level_answers import to_clear
from bench.procedure import load
from bench.procedure.plan import Climb, plan
from bench.procedure.reading import read_text
from bench.procedure.staircase import coarsest_uv, finest_uv
from bench.procedure.steps import Stairs
from bench.report.levels import table_lines
from bench.report.page import render_page
from firmware_ref.parameters import Band, Interval, Output, Parameters, Sensor, SensorSupply
from tests.boards import MIN, MS, S, air_handler, furnace, policies, within
from tests.judge.random_profiles import random_parameters
from tests.procedure.level_boards import Found, Share, against_truth, level_run, share
from tests.procedure.running import carried_out

SEEDS = range(int(os.environ.get("SEEDS", "16")))


def with_alarm() -> Parameters:
    """The furnace with an alarm contact that is open again in the hold: it tells hold from leak-active."""
    alarm = Output(
        name="alarm.no", kind="contact-no", feed="own", call=None,
        modes=policies("off", "off", "off", "on", "off", "on"),
        follow_on=within(250 * MS), follow_off=within(250 * MS),
        react_on=within(250 * MS), react_off=within(250 * MS),
        trip=Interval(2 * S, 6 * S), loss=Interval(3 * S, 9 * S),
    )  # fmt: skip
    board = furnace()
    return replace(board, outputs=(*board.outputs, alarm))


def with_sensor(**changes: object) -> Parameters:
    board = furnace()
    return replace(board, sensors=(replace(board.sensors[0], **changes),))


def falling() -> Parameters:
    """More gas is less voltage, and the line has a knee between the two levels."""
    points = ((0.0, 4_200_000), (14.0, 3_500_000), (100.0, 1_000_000))
    sensor = replace(furnace().sensors[0], points=points)
    bands = (Band(*sorted((sensor.uv_at(a), sensor.uv_at(b)))) for a, b in ((16.0, 20.0), (8.0, 12.0)))
    trip, clear = bands
    return replace(furnace(), sensors=(replace(sensor, trip=trip, clear=clear),))


def ratiometric() -> Parameters:
    """Its supply is known to 0.5 %, which no fixture can follow."""
    sensor = furnace().sensors[0]
    assert sensor.trip is not None and sensor.clear is not None
    supply = SensorSupply(5_000_000, 4_975_000, 5_025_000)
    wide = [
        Band(
            b.low_uv * supply.low_uv // supply.nominal_uv, -(-b.high_uv * supply.high_uv // supply.nominal_uv)
        )
        for b in (sensor.trip, sensor.clear)
    ]
    return with_sensor(supply=supply, trip=wide[0], clear=wide[1])


def two_sensors() -> Parameters:
    board = furnace()
    return replace(board, sensors=(board.sensors[0], replace(falling().sensors[0], name="2")))


def enough(found: Share) -> None:
    assert found.covered >= 0.93
    assert found.largest_u <= 1.0
    assert abs(found.bias) <= found.mean_u / 5


@pytest.mark.parametrize("board", [furnace, with_alarm, falling, ratiometric])
def test_true_levels_lie_within_what_is_stated(board) -> None:
    parameters = board()
    found: list[Found] = []
    for seed in SEEDS:
        judgement = level_run(parameters, seed)
        assert judgement.verdict in ("pass", "inconclusive"), judgement.reason
        assert [level.what for level in judgement.levels] == ["trip", "clear", "hysteresis"]
        found += against_truth(judgement, parameters, seed)
    enough(share(found, "trip"))
    enough(share(found, "clear"))


def test_every_sensor_has_its_own_levels() -> None:
    judgement = level_run(two_sensors(), 4)
    told = [(level.sensor, level.what) for level in judgement.levels]
    assert told == [(s, w) for w in (("1", "2"),) for s in w for w in ("trip", "clear")] + [
        ("1", "hysteresis"), ("2", "hysteresis"),
    ]  # fmt: skip
    for seed in SEEDS[:5]:
        assert level_run(two_sensors(), seed, "anywhere").verdict != "fail"


@pytest.mark.parametrize("seed", range(40, 40 + len(SEEDS)))
def test_no_good_board_is_failed_whatever_its_profile(seed: int) -> None:
    parameters = random_parameters(seed, True, seed % 2 == 0)
    judgement = level_run(parameters, seed, "anywhere")
    assert [f for f in judgement.findings if f.verdict == "fail"] == []


def test_an_alarm_contact_tells_sooner_than_the_release() -> None:
    slow, fast = to_clear(furnace()), to_clear(with_alarm())
    assert slow is not None and fast is not None
    assert slow.by_release and not fast.by_release
    # The width of clear + hold + react, and that of clear + react: what a step must stand.
    assert (slow.span.width_us, fast.span.width_us) == (14_250_000, 4_250_000)
    stairs = [
        [s.doing.each_us for s in load("levels", p).steps if isinstance(s.doing, Stairs)]
        for p in (furnace(), with_alarm())
    ]
    (_, by_release), (_, by_alarm) = stairs
    assert by_release >= slow.span.width_us and by_alarm >= fast.span.width_us
    assert by_alarm < by_release


@pytest.mark.parametrize(
    ("board", "fault", "kind"),
    [
        (furnace, "trip-high", "too-high"),
        (furnace, "trip-high=9 %LFL", "too-high"),
        (furnace, "clears-between", "too-high"),
        (furnace, "trip-low", "too-low"),
        (furnace, "clear-high", "too-high"),
        (furnace, "clear-low", "too-low"),
        (with_alarm, "clears-between", "too-high"),
        (falling, "trip-high", "too-high"),
    ],
)  # fmt: skip
def test_a_shifted_level_fails_by_name(board, fault: str, kind: str) -> None:
    parameters = board()
    for seed in SEEDS[:6]:
        judgement = level_run(parameters, seed, fault=fault)
        assert judgement.verdict == "fail"
        first = judgement.findings[0]
        assert (first.requirement, first.output, first.kind) == ("level", None, kind)
        assert judgement.reason.startswith("level: sensor 1 ")


def test_what_the_board_feeds_its_sensor_with_is_a_line_of_the_budget() -> None:
    scaled = level_run(ratiometric(), 3)
    trip = next(f for f in scaled.findings if f.requirement == "level")
    assert trip.half_widths is not None and len(trip.half_widths) == 4
    # Half a per cent of some 1.2 V, in %LFL of 40 mV.
    assert trip.half_widths[3] == pytest.approx(0.005 * scaled.levels[0].value["V"] / 0.04, rel=0.02)
    assert scaled.levels[0].limits_lfl == pytest.approx((16.0, 20.0), abs=1e-3)


def test_a_board_that_never_releases_is_not_said_to_have_a_wrong_level() -> None:
    judgement = level_run(furnace(), 3, fault="no-release")
    failed = [f for f in judgement.findings if f.verdict == "fail"]
    assert {(f.requirement, f.kind) for f in failed} == {("hold", "missing")}
    assert "it does not clear, or its hold never ends" in failed[0].text


def test_the_claim_is_judged_too() -> None:
    for claim, verdict in ((25.0, "pass"), (15.0, "fail")):
        judgement = level_run(with_sensor(trip_at_most_lfl=claim), 1)
        claimed = [f for f in judgement.findings if "claimed to be at most" in f.text]
        assert [(f.verdict, f.limits) for f in claimed] == [(verdict, (None, claim))]


def test_what_cannot_be_measured_is_said_with_why_and_how_long_it_would_take() -> None:
    board = furnace()
    timing = replace(board.timing, hold=Interval(5 * MIN, 25 * MIN))
    long = load("levels", replace(board, timing=timing))
    (reason,) = long.left_out
    assert reason.startswith("the clear level of sensor 1: not measurable in the allowed time of 60 min")
    assert "each of 6 steps must stand 20 min 4.7 s, which with the hold takes 145 min" in reason
    judgement = level_run(replace(board, timing=timing), 2)
    assert reason in judgement.not_exercised
    assert [level.what for level in judgement.levels] == ["trip"]

    unstated = replace(
        board,
        timing=replace(board.timing, hold=None, trip=None),
        outputs=tuple(replace(o, trip=None) for o in board.outputs),
    )
    told = load("levels", unstated).left_out
    assert told[0].startswith("the trip level of sensor 1: no trip time is stated")
    assert told[1].startswith("the clear level of sensor 1: nothing moves when it is reached")
    assert load("levels", air_handler()).left_out == ("the levels of sensor 1: a supervised sensor has none",)


def test_a_wide_hold_gets_coarser_steps_as_long_as_the_level_is_found_to_1_percent() -> None:
    board = with_sensor(clear=Band(860_000, 940_000))  # 9 to 11 %LFL
    band = board.sensors[0].clear
    assert band is not None
    timing = replace(board.timing, hold=Interval(5 * MIN, 14 * MIN))
    procedure = load("levels", replace(board, timing=timing))
    assert procedure.left_out == ()
    fall = [s.doing for s in procedure.steps if isinstance(s.doing, Stairs)][-1]
    assert coarsest_uv(board.sensors[0], band) > 2 * finest_uv(board.sensors[0], band)
    judgement = level_run(replace(board, timing=timing), 5)
    clear = next(level for level in judgement.levels if level.what == "clear")
    assert 0.5 < clear.uncertainty["%LFL"] <= 1.0
    assert fall.each_us > 5 * MIN


def test_without_the_stairs_of_a_procedure_nothing_is_said_of_levels() -> None:
    from bench.judge.judge import judge_trace

    trace = carried_out(furnace(), load("full", furnace()), 1)
    judgement = judge_trace(trace, furnace())
    assert judgement.levels == ()
    assert "level" in judgement.not_exercised


def test_levels_are_told_in_every_unit_and_on_every_width() -> None:
    parameters = with_sensor(lfl_ppm=144_000.0)
    judgement = level_run(parameters, 0)
    trip = judgement.levels[0].as_json()
    assert set(trip["value"]) == set(trip["uncertainty"]) == {"V", "%LFL", "ppm"}
    assert trip["value"]["ppm"] == pytest.approx(1_440 * trip["value"]["%LFL"])
    assert trip["value"]["V"] == pytest.approx(0.5 + 0.04 * trip["value"]["%LFL"])
    for width in (40, 80, 110):
        lines = list(table_lines(judgement.levels, width))
        assert max(map(len, lines)) <= width
        assert any(f"{trip['value']['%LFL']:.2f} ± " in line for line in lines)
    trace = carried_out(parameters, load("levels", parameters), 0)
    page = render_page(trace, judgement, parameters)
    assert "Where it trips and clears" in page and f"{trip['value']['ppm']:.0f} ± " in page


def test_stairs_may_be_written_by_hand() -> None:
    text = b"""
format: mitbench-procedure-1
name: mine
steps:
  - sensor.1: clear
  - sensor.1: {stairs: {levels: [16 %LFL, 1.22 V, 1300 mV], each: 5 s}}
"""
    procedure = read_text(text, "mine.yaml")
    assert procedure.steps[1].doing == Stairs("sensor.1", ("16 %LFL", "1.22 V", "1300 mV"), 5 * S)
    assert procedure.as_json()["steps"][1] == {
        "sensor.1": {"stairs": {"levels": ["16 %LFL", "1.22 V", "1300 mV"], "each": "5000 ms"}}
    }
    (climb,) = plan(procedure, furnace())[1].actions
    assert isinstance(climb, Climb)
    assert [v.value_uv for v in climb.values] == [1_140_000, 1_220_000, 1_300_000]


@pytest.mark.parametrize(
    ("written", "says"),
    [
        ("{stairs: {levels: [16 %LFL, 18 %LFL]}}", "mine.yaml:5: steps.1.sensor.1: write {stairs: {levels:"),
        ("{stairs: [16 %LFL, 18 %LFL]}", "mine.yaml:5: steps.1.sensor.1: write {stairs: {levels:"),
        ("{stairs: {levels: [16 %LFL], each: 5 s}}", "mine.yaml:5: steps.1.sensor.1.stairs.levels: must be two"),
        ("{stairs: {levels: [16, 18], each: 5 s}}", "mine.yaml:5: steps.1.sensor.1.stairs.levels: must be two"),
        ("{stairs: {levels: [16 %LFL, 18 %LFL], each: 5}}", "mine.yaml:5: steps.1.sensor.1.stairs.each: is 5, a bare"),
        ("{stairs: {levels: [leak, open], each: 5 s}}", "mine.yaml:5: sensor.1: stairs go through levels"),
        ("{stairs: {levels: [16 %LFL, 200 %LFL], each: 5 s}}", "mine.yaml:5: sensor.1: is 200 %LFL, above 100"),
    ],
)  # fmt: skip
def test_stairs_that_cannot_be_are_refused_in_one_sentence(written: str, says: str) -> None:
    text = f"format: mitbench-procedure-1\nname: mine\nsteps:\n\n  - sensor.1: {written}\n".encode()
    with pytest.raises(ProcedureError) as caught:
        plan(read_text(text, "mine.yaml"), furnace())
    (line,) = str(caught.value).split("\n")
    assert line.startswith(says)


def test_a_sensor_without_a_voltage_has_no_stairs() -> None:
    assert not any(isinstance(s.doing, Stairs) for s in load("levels", air_handler()).steps)
    assert isinstance(air_handler().sensors[0], Sensor)
