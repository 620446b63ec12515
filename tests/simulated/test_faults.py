"""Faults as typed: what exists, what is refused and with which sentence."""

from dataclasses import replace

import pytest

from bench.errors import UsageError
from bench.judge.findings import REQUIREMENTS
from bench.simulated.fault_table import TABLE
from bench.simulated.faults import catalogue, parse
from firmware_ref.parameters import Mode, Policy
from tests.boards import MS, S, air_handler, furnace

BOARDS = [furnace, air_handler]
KINDS = {"too-early", "too-late", "missing", "not-allowed", "chatter"}


def names(parameters):
    return {e.name for e in catalogue(parameters)}


def expected(parameters, name):
    return next(e.expected for e in catalogue(parameters) if e.name == name)


@pytest.mark.parametrize("board", BOARDS)
def test_every_entry_can_be_typed_and_names_what_a_bench_has_to_find(board):
    parameters = board()
    outputs = {o.name for o in parameters.outputs} | {None}
    for entry in catalogue(parameters):
        fault = parse(entry.name, parameters)
        assert entry.about.endswith(".")
        assert (entry.expected is None) is (entry.kind == "fixture")
        if entry.expected is not None:
            requirement, output, kind = entry.expected
            assert requirement in REQUIREMENTS
            assert output in outputs
            assert kind in KINDS
        if entry.default_size is not None:
            assert parse(f"{entry.name}={entry.default_size}", parameters) == fault


def test_the_table_names_each_fault_once():
    assert len({row.name for row in TABLE}) == len(TABLE)


def test_all_the_faults_of_the_furnace_board():
    board_faults = {e.name for e in catalogue(furnace()) if e.kind == "board"}
    each = {f"{f}:{o}" for f in ("stuck-on", "stuck-off", "call-dead", "chatter") for o in "YWG"}
    assert board_faults == each | {
        "crossed:Y,W", "crossed:Y,G", "crossed:W,G", "hold-short", "hold-long", "no-restart", "no-release",
        "slow-trip", "trip-high", "clear-low", "loss-ignored", "loss-ends-mitigation", "reboots",
        "loads-supply", "feeds-back:G", "passes-new-call:Y", "passes-new-call:W", "not-held:G", "not-released:G",
    }  # fmt: skip


def test_all_the_faults_of_the_fixture():
    relays = ["call.Y", "call.W", "call.G", "main", "board"]
    outs = ["out.Y", "out.W", "out.G", "sense.board"]
    assert {e.name for e in catalogue(furnace()) if e.kind == "fixture"} == {
        *(f"{f}:{ch}" for f in ("relay-dead", "relay-stuck") for ch in relays),
        *(f"{f}:{ch}" for f in ("input-dead", "input-stuck") for ch in outs),
        "inputs-swapped:out.Y,out.W", "inputs-swapped:out.Y,out.G", "inputs-swapped:out.W,out.G",
        "input-dead:sense.main", "signal-drift", "main-shorted", "fixture-reboots", "unplugged",
    }  # fmt: skip


def test_what_is_expected_of_a_stuck_output_depends_on_its_feed_and_start_up():
    assert expected(furnace(), "stuck-on:W") == ("trip", "W", "missing")
    assert expected(furnace(), "stuck-on:G") == ("power-up", "G", "not-allowed")
    assert expected(air_handler(), "stuck-on:G") == ("power-up", "G", "missing")
    assert expected(furnace(), "stuck-off:G") == ("follow", "G", "missing")
    assert expected(air_handler(), "stuck-off:G") == ("power-up", "G", "missing")


def test_what_is_expected_of_crossed_outputs_is_the_one_that_moves_alone():
    assert expected(furnace(), "crossed:W,G") == ("follow", "G", "not-allowed")
    assert expected(air_handler(), "crossed:W,G") == ("power-up", "W", "not-allowed")
    assert expected(air_handler(), "crossed:Y,W") == ("follow", "W", "not-allowed")
    swapped = replace(furnace(), calls=("G", "W", "Y"))
    assert expected(swapped, "crossed:Y,G") == ("follow", "Y", "not-allowed")


def test_what_is_expected_first_of_a_loss_is_the_output_that_has_to_go_off():
    parameters = furnace()
    y = parameters.output("Y")
    y = replace(y, modes={**y.modes, Mode.SENSOR_FAULT: Policy.FOLLOW})
    parameters = replace(parameters, outputs=(y, *parameters.outputs[1:]))
    assert expected(parameters, "loss-ignored") == ("loss", "W", "missing")
    assert expected(parameters, "slow-trip") == ("trip", "Y", "too-late")


@pytest.mark.parametrize(
    ("text", "size"),
    [
        ("hold-short=20 s", 20 * S),
        ("hold-long=1.5 min", 90 * S),
        ("slow-trip=300ms", 300 * MS),
        ("trip-high=3 %LFL", 3 * S),
    ],
)
def test_a_size_is_a_quantity_beyond_the_limit(text, size):
    assert parse(text, furnace()).size == size


def test_a_size_left_out_is_three_bounds():
    # clear 7 s, hold 365 s, reaction 250 ms; bound 8 ms + 150 ppm
    assert parse("hold-short", furnace()).size == 3 * (8 * MS + 372_250_000 * 150 // 1_000_000)
    assert parse("slow-trip", furnace()).size == 3 * (8 * MS + 900)
    # 15 mV at 40 mV per %LFL
    assert parse("trip-high", furnace()).size == 375_000
    assert parse("no-release", furnace()).size is None


def test_spaces_and_the_order_of_a_pair_do_not_matter():
    assert parse(" crossed: G , Y ", furnace()) == parse("crossed:Y,G", furnace())


def test_a_fixture_fault_takes_a_channel_number():
    assert parse("relay-dead:3", furnace()).where == ("3",)


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("stuk-on:W", "fault 'stuk-on' does not exist: did you mean 'stuck-on'?"),
        ("xyz", "fault 'xyz' does not exist: write one of stuck-on, stuck-off,"),
        (
            "stuck-on",
            "fault 'stuck-on' does not fit invented-split-furnace: write stuck-on:Y, stuck-on:W, stuck-on:G",
        ),
        ("stuck-on:B", "fault 'stuck-on:B' does not fit invented-split-furnace: write stuck-on:Y,"),
        ("reboots:Y", "fault 'reboots:Y' does not fit invented-split-furnace: write reboots"),
        ("crossed:Y,Y", "fault 'crossed:Y,Y' does not fit invented-split-furnace: write crossed:Y,W,"),
        ("stuck-on:W=3 s", "fault 'stuck-on' takes no size: write stuck-on:W"),
        ("hold-short=20", "fault 'hold-short': the size is 20, a bare number; add the unit"),
        ("hold-short=", "fault 'hold-short': the size is '', which is no number with a unit;"),
        ("hold-short=0 s", "fault 'hold-short': the size is 0; write for example hold-short=191.511 ms"),
        ("hold-short=10 min", "fault 'hold-short': the size 10 min is longer than the hold;"),
        ("trip-high=3 s", "fault 'trip-high': the size has the unit 's';"),
        (
            "relay-dead:out.Y",
            "fault 'relay-dead:out.Y' does not fit invented-split-furnace: write relay-dead:call.Y,",
        ),
    ],
)
def test_what_does_not_exist_is_refused_in_one_sentence_that_says_what_to_write(text, sentence):
    with pytest.raises(UsageError) as caught:
        parse(text, furnace())
    assert str(caught.value).startswith(sentence)
    assert "\n" not in str(caught.value)


def test_what_the_equipment_cannot_have_is_refused_and_not_listed():
    plain = replace(air_handler().sensors[0], kind="contact", lost_by=frozenset())
    contact = replace(air_handler(), sensors=(plain,))
    for name, why in (
        ("trip-high", "it has no analog sensor"),
        ("loss-ignored", "none of its sensors can be lost"),
        ("loss-ends-mitigation", "none of its sensors can be lost"),
    ):
        assert name not in names(contact)
        with pytest.raises(UsageError, match=f"fault '{name}': invented-air-handler cannot have it: {why}"):
            parse(name, contact)
    cooling_only = replace(furnace(), outputs=furnace().outputs[:1], calls=("Y",))
    with pytest.raises(UsageError, match=r"stuck-on:Y$"):
        parse("stuck-on:W", cooling_only)
    with pytest.raises(UsageError, match="cannot have it: it has nothing that 'crossed:OUT,OUT' could name"):
        parse("crossed:Y,W", cooling_only)


def test_what_has_no_stated_figure_cannot_be_beyond_it():
    parameters = furnace()
    outputs = tuple(replace(o, trip=None, loss=None) for o in parameters.outputs)
    timing = replace(parameters.timing, trip=None, hold=None, loss=None)
    vague = replace(parameters, outputs=outputs, timing=timing)
    gone = names(furnace()) - names(vague)
    assert gone == {
        "hold-short", "hold-long", "no-restart", "no-release", "slow-trip", "trip-high", "clear-low",
        "loss-ignored", "loss-ends-mitigation",
    }  # fmt: skip
