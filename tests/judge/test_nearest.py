"""What a fault is called where several good boards are nearly as near; sequences and boards written out."""

from __future__ import annotations

import dataclasses

import pytest

from bench.judge.findings import Finding
from bench.trace.records import Voltage
from firmware_ref.parameters import Interval, Mode, Parameters, Policy, Restart
from tests.boards import furnace
from tests.scripted import CLEAR, LEAK, Script, failed

S = 1_000_000
BETWEEN = Voltage(1_060_000, 5_000)


def board(**rules: object) -> Parameters:
    """The furnace board: trip 2 to 6 s, clear 3 to 7 s, hold 355 to 365 s, loss 3 to 9 s, outputs within 0.25 s."""
    plain = furnace()
    return dataclasses.replace(plain, rules=dataclasses.replace(plain.rules, **rules))


def in_the_hold(parameters: Parameters) -> Script:
    """A call for Y, a leak that ends at 40 s; by then Y is off and G on, until a release from 398 s to 412.25 s."""
    s = Script(parameters).sensor(0.5, CLEAR).supply(1.0).call(2.0, Y=True).out(11.0, Y=True)
    return s.sensor(30, LEAK).out(33, Y=False, G=True).sensor(40, CLEAR)


def called(s: Script, end_s: float) -> list[tuple[str, str | None, str | None]]:
    return [(f.requirement, f.output, f.kind) for f in failed(s.judge(end_s))]


def only(s: Script, end_s: float) -> Finding:
    (finding,) = failed(s.judge(end_s))
    return finding


def test_a_release_that_comes_late_under_a_new_leak_is_a_late_release():
    s = in_the_hold(board(hold_on_band="continue"))
    s.sensor(409.5, LEAK).out(413.5, Y=True).out(414.5, Y=False)
    finding = only(s, 420)
    assert (finding.requirement, finding.kind) == ("hold", "too-late")
    assert finding.margin == pytest.approx(-1.25)


def test_a_hold_that_ends_though_it_must_begin_afresh_from_low_breaks_the_hold():
    s = in_the_hold(board(hold_on_band="restart")).sensor(200, BETWEEN).out(401, Y=True, G=False)
    assert called(s, 402)[0][0] == "hold"


def test_a_leak_from_start_up_on_that_is_never_answered_breaks_the_trip():
    s = Script(board()).sensor(0.5, CLEAR).supply(1.0).call(2.0, Y=True).sensor(8.5, LEAK).out(9.5, Y=True)
    assert called(s, 30) == [("trip", "Y", "missing"), ("trip", "G", "missing")]


def test_a_trip_that_was_due_before_a_dip_is_still_the_trip():
    s = Script(board()).sensor(0.5, CLEAR).supply(1.0).call(2.0, Y=True).out(11.0, Y=True)
    s.sensor(30, LEAK).supply(33, False).supply(33.01)
    assert called(s, 60) == [("trip", "Y", "missing"), ("trip", "G", "missing")]


def with_restart(parameters: Parameters) -> Parameters:
    """Y waits 30 to 40 s after a release."""
    outputs = tuple(
        dataclasses.replace(o, restart=Restart(frozenset({"release"}), Interval(30 * S, 40 * S)))
        if o.name == "Y"
        else o
        for o in parameters.outputs
    )
    return dataclasses.replace(parameters, outputs=outputs)


def test_a_composite_of_hold_and_restart_delay_names_both():
    finding = only(in_the_hold(with_restart(board())).out(410, Y=True).out(410.1, G=False), 411)
    assert (finding.requirement, finding.kind, finding.also) == ("restart", "too-early", ("hold",))
    late = failed(in_the_hold(with_restart(board())).judge(500))
    assert {(f.output, f.kind, f.also) for f in late if f.requirement == "restart"} == {
        ("Y", "missing", ("hold",))
    }


def test_a_hold_does_not_end_by_running_on_after_it_would_have_been_over():
    """What a loss does to the hold is not stated: it stands still until the sensor is back, or runs on to 412 s."""
    s = in_the_hold(board(hold_when_lost=None, hold_on_band="continue"))
    s.sensor(409.5, "open").out(415, Y=True, G=False)
    assert failed(s.judge(416)) != []
    good = in_the_hold(board(hold_when_lost=None, hold_on_band="continue"))
    good.sensor(409.5, "open").out(412, Y=True, G=False).out(415, Y=False, G=True)
    assert failed(good.judge(416)) == []


def test_a_hold_after_a_new_leak_is_another_one_than_the_hold_before():
    """The new leak may clear anywhere in the clear's band, until 300 s: then 365 s, and as long again as it stood still."""
    s = in_the_hold(board(hold_on_band="pause")).sensor(200, LEAK).sensor(210, Voltage(900_000, 5_000))
    s.sensor(300, BETWEEN).sensor(310, LEAK).sensor(311, CLEAR)
    assert called(s, 776) == []
    assert called(s, 777) == [("hold", None, "missing")]


def test_an_output_that_normal_keeps_on_breaks_follow_when_it_goes_off():
    plain = board()
    fan = dataclasses.replace(plain.output("G"), modes={**plain.output("G").modes, Mode.NORMAL: Policy.ON})
    outputs = tuple(fan if o.name == "G" else o for o in plain.outputs)
    s = Script(dataclasses.replace(plain, outputs=outputs)).sensor(0.5, CLEAR).supply(1.0).out(11.0, G=True)
    assert called(s.out(50, G=False), 60) == [("follow", "G", "not-allowed")]
