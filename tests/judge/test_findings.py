"""What a good run proves, and what each way of spoiling it is called."""

from __future__ import annotations

import pytest

from bench.judge.findings import Finding, Judgement
from tests.judge.full_run import END_S, drop_edges, edit, good_run, shift_edges
from tests.scripted import Script, failed, named


def first_failed(judgement: Judgement) -> Finding:
    assert judgement.verdict == "fail", judgement.reason
    return failed(judgement)[0]


def identity(f: Finding) -> tuple[str, str | None, str | None]:
    return f.requirement, f.output, f.kind


def test_a_good_run_passes_and_proves_everything():
    judgement = good_run().judge(END_S)
    assert judgement.verdict == "pass", judgement.reason
    assert {f.verdict for f in judgement.findings} == {"pass"}
    seen = {(f.requirement, f.output) for f in judgement.findings}
    for requirement in ("hold", "re-leak", "kept-on-loss"):
        assert (requirement, None) in seen
    for output in "YWG":
        assert {("follow", output), ("trip", output), ("loss", output), ("return", output)} <= seen
    assert {("release", "W"), ("release", "G"), ("blocked", "Y"), ("forced", "G"), ("power-up", "Y")} <= seen


def test_figures_of_a_hold():
    (hold,) = named(good_run().judge(END_S), "hold")
    assert hold.measured == pytest.approx(365.0, abs=1e-6)
    # clear 5 ± 2 s, hold 360 ± 5 s, react up to 0.25 s, counted from the signal going low
    assert hold.limits == (358.0, 372.25)
    assert hold.bound == pytest.approx(0.002)
    assert hold.uncertainty == pytest.approx(2 * (2 * 0.001**2 / 3) ** 0.5, abs=1e-6)
    assert hold.margin == pytest.approx(7.0)


def stuck_on_w() -> Script:
    s = edit(good_run(), lambda e: None if e[3] == "out.W" else e)
    for e in [e for e in s._timed if e[3] == "call.W"]:
        s.out(e[0] / 1e6 + 0.1, W=e[4] == "on")
    return s


def rebooting() -> Script:
    s = edit(good_run(), lambda e: e if e[0] < 604e6 else None)
    return s.out(604, Y=False, W=False).out(614, Y=True, W=True)


def chattering() -> Script:
    s = good_run()
    for i in range(8):
        s.out(60 + i * 0.1, G=False).out(60.01 + i * 0.1, G=True)
    return s


def crossed() -> Script:
    other = {"out.Y": "out.W", "out.W": "out.Y"}
    return edit(good_run(), lambda e: (*e[:3], other.get(e[3], e[3]), e[4]))


SPOILED = {
    "stuck on": (stuck_on_w, ("trip", "W", "missing")),
    "hold short": (lambda: shift_edges(good_run(), 599, 601, -20), ("hold", None, "too-early")),
    "hold long": (lambda: shift_edges(good_run(), 599, 601, 8.3), ("hold", None, "too-late")),
    "no release": (lambda: drop_edges(good_run(), 599, 638), ("hold", None, "missing")),
    "hold not restarted": (lambda: shift_edges(good_run(), 599, 601, -195), ("re-leak", None, "too-early")),
    "slow trip": (lambda: shift_edges(good_run(), 23, 25, 2.6), ("trip", "Y", "too-late")),
    "quick trip": (lambda: shift_edges(good_run(), 23, 25, -2.6), ("trip", "Y", "too-early")),
    "no trip": (lambda: drop_edges(good_run(), 23, 25), ("trip", "Y", "missing")),
    "loss ignored": (lambda: drop_edges(good_run(), 611, 638), ("loss", "Y", "missing")),
    "loss ends mitigation": (
        lambda: good_run().out(655, G=False).out(655.01, Y=True, W=True),
        ("kept-on-loss", None, "not-allowed"),
    ),
    "call dead": (lambda: edit(good_run(), lambda e: None if e[3] == "out.Y" else e), ("follow", "Y", "missing")),
    "restart by itself": (rebooting, ("supply", None, "not-allowed")),
    "crossed": (crossed, ("follow", "W", "not-allowed")),
    "chatter": (chattering, ("chatter", "G", "chatter")),
}  # fmt: skip


@pytest.mark.parametrize("name", SPOILED)
def test_the_first_failed_finding_names_the_fault(name):
    make, expected = SPOILED[name]
    assert identity(first_failed(make().judge(END_S))) == expected


def test_only_the_output_that_a_fault_touches_is_named():
    judgement = stuck_on_w().judge(END_S)
    assert {f.output for f in failed(judgement)} == {"W"}


def test_a_late_move_says_by_how_much():
    finding = first_failed(shift_edges(good_run(), 23, 25, 2.6).judge(END_S))
    assert finding.measured == pytest.approx(6.6)
    assert finding.margin == pytest.approx(-0.6)
    assert "too late by 0.600 s" in finding.text


def test_a_hold_that_ends_late_is_one_finding_for_the_board():
    judgement = shift_edges(good_run(), 599, 601, 8.3).judge(END_S)
    assert [f.requirement for f in failed(judgement)] == ["hold"]


def test_one_fault_does_not_hide_the_next():
    s = shift_edges(good_run(), 23, 25, 2.6)
    s = drop_edges(s, 611, 638)
    assert {"trip", "loss"} <= {f.requirement for f in failed(s.judge(END_S))}


def test_a_missing_move_is_moot_after_the_next_stimulus():
    s = drop_edges(good_run(), 23, 25)  # the calls change at 30 s and later
    assert {f.kind for f in failed(s.judge(END_S)) if f.requirement == "trip"} == {"missing"}


def test_an_output_that_never_moved_may_be_the_fixtures_own_input():
    s = edit(good_run(), lambda e: None if e[3] == "out.Y" else e)
    assert "check with the loop-back plug" in first_failed(s.judge(END_S)).text


def test_a_board_that_answers_nothing_is_a_hook_up_to_check():
    s = edit(good_run(), lambda e: None if e[3].startswith("out.") else e)
    judgement = s.judge(END_S)
    assert judgement.verdict == "inconclusive"
    assert "check the hook-up" in judgement.reason
    assert not failed(judgement)


@pytest.mark.parametrize(
    ("reason", "end", "verdict"),
    [
        ("stopped", END_S, "inconclusive"),
        ("bench-fault", END_S, "bench-fault"),
        ("complete", None, "inconclusive"),
    ],
)
def test_a_run_that_did_not_end_well_never_passes(reason, end, verdict):
    assert good_run().judge(end, reason=reason).verdict == verdict


def test_a_killed_run_that_failed_stays_failed():
    assert stuck_on_w().judge(None).verdict == "fail"


def test_half_a_run_is_partial():
    s = edit(good_run(), lambda e: e if e[0] < 100e6 else None)
    judgement = s.judge(100)
    assert judgement.verdict == "inconclusive"
    assert "hold" in judgement.reason
    assert "hold" in judgement.not_exercised


def test_a_survey_judges_nothing():
    judgement = stuck_on_w().judge(END_S, procedure={"name": "survey", "judged": False})
    assert judgement.verdict == "inconclusive"
    assert not failed(judgement)
    assert judgement.not_judged
