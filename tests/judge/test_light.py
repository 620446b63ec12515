"""A whole good run with a light, by hand, and what each wrong light is called."""

from __future__ import annotations

from dataclasses import replace

import pytest

from bench.judge.findings import Finding, Judgement
from bench.judge.judge import clock_of
from bench.judge.light import shown
from firmware_ref.parameters import Interval, Light, Mode, Parameters
from tests.boards import furnace
from tests.judge.full_run import END_S, good_run
from tests.scripted import Script, failed, named

MS = 1_000
CODES: dict[Mode, str | None] = {
    Mode.UNPOWERED: "dark",
    Mode.START_UP: "dark",
    Mode.NORMAL: "steady",
    Mode.LEAK_ACTIVE: "5 flashes",
    Mode.POST_LEAK_HOLD: "2 flashes",
    Mode.SENSOR_FAULT: "4 flashes",
}
LIGHT = Light(
    CODES,
    Interval(250 * MS, 350 * MS),
    Interval(250 * MS, 350 * MS),
    Interval(1_300 * MS, 1_700 * MS),
    Interval(0, 3_000 * MS),
)
#: What the board of the good run does, from when on (s): hidden changes included.
MODES = [(1.0, Mode.START_UP), (12.0, Mode.NORMAL), (24.0, Mode.LEAK_ACTIVE), (45.0, Mode.POST_LEAK_HOLD),
         (229.0, Mode.LEAK_ACTIVE), (240.0, Mode.POST_LEAK_HOLD), (600.0, Mode.NORMAL),
         (616.0, Mode.SENSOR_FAULT), (635.0, Mode.NORMAL), (644.0, Mode.LEAK_ACTIVE)]  # fmt: skip
Shows = dict[Mode, str | None]


def lit(codes: Shows, late_s: float = 0.3, phase_s: float = 0.0) -> list[tuple[float, bool]]:
    """Edges of a light that shows each mode `late_s` after it began."""
    edges: list[tuple[float, bool]] = []
    ends = [*(t + late_s for t, _ in MODES[1:]), END_S]
    for (since, mode), end in zip(MODES, ends, strict=True):
        at, code = since + late_s, codes[mode] or "dark"
        if code in ("dark", "steady"):
            edges.append((at, code == "steady"))
            continue
        edges.append((at, False))
        at += 1.5 - phase_s
        while at < end:
            for _ in range(int(code.split()[0])):
                edges += [(at, True), (at + 0.3, False)]
                at += 0.6
            at += 1.2
        edges = [e for e in edges if e[0] < end]
    return edges


def run(
    codes: Shows = CODES, light: Light = LIGHT, edges: list[tuple[float, bool]] | None = None, **how: float
) -> Judgement:
    return script(codes, light, edges, **how).judge(END_S)


def script(
    codes: Shows = CODES, light: Light = LIGHT, edges: list[tuple[float, bool]] | None = None, **how: float
) -> Script:
    s = good_run()
    s.parameters = with_light(light)
    level = False
    for at, on in lit(codes, **how) if edges is None else edges:
        if on is not level:
            s.light(at, on)
            level = on
    return s


def with_light(light: Light = LIGHT) -> Parameters:
    return replace(furnace(), light=light)


def the_light(judgement: Judgement) -> Finding:
    (found,) = failed(judgement)
    assert judgement.verdict == "fail"
    return found


def test_a_good_light_passes_in_every_mode() -> None:
    judgement = run()
    assert judgement.verdict == "pass", judgement.reason
    found = named(judgement, "light")
    assert {f.verdict for f in found} == {"pass"}
    told = " ".join(f.text for f in found)
    for mode, code in list(CODES.items())[1:]:
        assert f"{code} in {mode}" in told, told
    assert "light" not in judgement.not_exercised


@pytest.mark.parametrize("phase_s", [0.0, 0.4, 0.8, 1.1])
@pytest.mark.parametrize("late_s", [0.0, 0.05, 1.0, 2.0, 2.9])
def test_a_good_light_is_never_failed_however_late_it_may_be(late_s: float, phase_s: float) -> None:
    judgement = run(late_s=late_s, phase_s=phase_s)
    assert judgement.verdict == "pass", judgement.reason


@pytest.mark.parametrize(
    ("mode", "code", "says"),
    [
        (Mode.LEAK_ACTIVE, "3 flashes", "showed 3 flashes, where leak-active is 5 flashes"),
        (Mode.LEAK_ACTIVE, "2 flashes", "showed 2 flashes (the code of post-leak-hold), where"),
        (Mode.POST_LEAK_HOLD, "steady", "was steady (the code of normal), where post-leak-hold is 2 flashes"),
        (Mode.POST_LEAK_HOLD, "dark", "was dark (the code of unpowered or start-up), where"),
        (Mode.NORMAL, "1 flash", "showed 1 flash, where normal is steady"),
        (Mode.SENSOR_FAULT, "5 flashes", "where sensor-fault is 4 flashes"),
        (Mode.START_UP, "steady", "where unpowered or start-up is dark"),
    ],
)
def test_a_wrong_code_fails_the_light_alone(mode: Mode, code: str, says: str) -> None:
    judgement = run({**CODES, mode: code})
    assert {(f.requirement, f.output) for f in failed(judgement)} == {("light", None)}
    assert says in failed(judgement)[0].text, failed(judgement)[0].text
    assert "light" not in {r for f in judgement.findings if f.requirement != "light" for r in f.also}
    assert {f.requirement for f in judgement.findings} >= {"hold", "re-leak", "loss"}


@pytest.mark.parametrize("code", ["dark", "steady", "5 flashes"])
def test_a_light_that_never_changes(code: str) -> None:
    judgement = run(dict.fromkeys(Mode, code))
    assert {f.requirement for f in failed(judgement)} == {"light"}


@pytest.mark.parametrize("late_s", [5.0, 8.0, 10.0])
def test_a_light_that_is_too_late_is_called_late(late_s: float) -> None:
    """The codes are all right: none of the findings may say that one is wrong."""
    found = failed(run(late_s=late_s))
    assert {(f.requirement, f.kind) for f in found} == {("light", "too-late")}
    leak = next(f for f in found if "before it showed 5 flashes" in f.text)
    assert "the light was late: it kept showing steady" in leak.text
    assert "allowed within 3 s" in leak.text
    assert leak.measured == pytest.approx(late_s, abs=leak.bound)
    assert leak.limits == (None, 3.0)


def test_one_group_kept_too_long_is_enough() -> None:
    """The hold begins at 45 s and is known by 46; of the groups of the leak one alone begins after 49."""
    edges = [e for e in lit(CODES) if e[0] < 42.5]
    at = 42.6
    for _ in range(3):
        for _ in range(5):
            edges += [(at, True), (at + 0.3, False)]
            at += 0.6
        at += 1.2
    found = failed(run(edges=[*edges, *(e for e in lit(CODES) if e[0] > at + 0.5)]))
    assert [(f.requirement, f.kind) for f in found] == [("light", "too-late")]
    assert "kept showing 5 flashes" in found[0].text and "before it showed 2 flashes" in found[0].text


def test_the_code_of_the_mode_before_all_through_is_wrong_not_late() -> None:
    """Leak and normal look alike; the hold's code then comes in time."""
    found = failed(run({**CODES, Mode.LEAK_ACTIVE: "steady"}))
    assert {(f.requirement, f.kind) for f in found} == {("light", "not-allowed")}


def test_a_light_that_flickers_is_no_code() -> None:
    edges = [(2 + 0.16 * n, n % 2 == 0) for n in range(4_236)]
    found = failed(run(edges=edges))
    assert {(f.requirement, f.kind) for f in found} == {("light", "missing")}
    assert "nothing that can be read" in found[0].text


@pytest.mark.parametrize("phase_s", [n / 10 for n in range(15)])
def test_a_group_cut_off_by_a_change_is_not_judged(phase_s: float) -> None:
    """Wherever in the group the new code begins."""
    assert run(phase_s=phase_s, late_s=0.1).verdict == "pass"


def test_wrong_groups_with_pauses_too_long_between_are_wrong_all_the_same() -> None:
    """As where the first flash of each group is not seen: the pause before it is then longer than any."""
    edges = [e for e in lit(CODES) if e[0] < 45.3]
    at = 46.8
    while at < 200:
        edges += [(at + 0.6, True), (at + 0.9, False)]
        at += 2.4
    found = failed(run(edges=[*edges, *(e for e in lit(CODES) if e[0] > 228)]))
    assert {f.requirement for f in found} == {"light"}
    assert "1 flash, where post-leak-hold is 2 flashes" in found[0].text


def test_one_odd_group_is_no_failure() -> None:
    edges = [e for e in lit(CODES) if not 300.0 < e[0] < 300.9]
    judgement = run(edges=edges)
    assert judgement.verdict == "pass", judgement.reason


def test_a_loss_within_the_leak_may_be_shown_as_either() -> None:
    """The good run ends with a loss in the leak."""
    for code in ("4 flashes", "5 flashes"):
        edges = [e for e in lit(CODES) if e[0] < 652]
        at = 653.5
        while at < END_S - 4:
            for _ in range(int(code[0])):
                edges += [(at, True), (at + 0.3, False)]
                at += 0.6
            at += 1.2
        assert run(edges=edges).verdict == "pass"
    edges = [*[e for e in lit(CODES) if e[0] < 652], (654.0, True)]
    assert the_light(run(edges=edges)).requirement == "light"


def test_not_stated_allows_every_code_there() -> None:
    free = replace(LIGHT, codes={**CODES, Mode.LEAK_ACTIVE: None})
    judgement = run({**CODES, Mode.LEAK_ACTIVE: "7 flashes"}, free)
    assert judgement.verdict == "pass", judgement.reason
    free = replace(LIGHT, latency=None)
    judgement = run(late_s=20.0, light=free)
    assert not failed(judgement), judgement.reason
    judgement = run({**CODES, Mode.LEAK_ACTIVE: "7 flashes"}, free)
    assert {f.requirement for f in failed(judgement)} == {"light"}


def test_must_prove_asks_for_every_mode() -> None:
    parameters = with_light()
    proving = replace(parameters, must_prove=(*parameters.must_prove, "light"))
    s = script()
    s.parameters = proving
    assert s.judge(END_S).verdict == "pass"
    s._timed = [e for e in s._timed if e[0] < 605e6]
    judgement = s.judge(605.0)
    assert judgement.verdict == "inconclusive"
    assert "light" in judgement.reason


def test_another_fault_is_not_told_twice() -> None:
    """The mode of a board that does wrong is not what the judge expects; its light then says the same."""
    s = script({**CODES, Mode.LEAK_ACTIVE: "2 flashes"})
    s._timed = [e for e in s._timed if e[3] != "out.W" or e[0] < 24e6]
    found = failed(s.judge(END_S))
    assert "light" not in {f.requirement for f in found}
    assert "light" in found[0].also


def test_a_trace_that_does_not_watch_the_light_is_judged_without() -> None:
    s = good_run()
    trace = s.trace(END_S)
    s.parameters = with_light()
    judgement = s.judge(END_S)  # watched, and dark
    assert {f.requirement for f in failed(judgement)} == {"light"}
    from bench.judge.judge import judge_trace

    judgement = judge_trace(trace, with_light())
    assert judgement.verdict == "pass"
    assert "light" in judgement.not_exercised


def test_what_was_shown_as_a_list() -> None:
    trace = script().trace(END_S)
    found = shown(trace, LIGHT, clock_of(trace))
    assert [s.code for s in found][:3] == ["dark", "steady", "5 flashes"]
    hold = [s for s in found if s.code == "2 flashes"]
    assert 45e6 < hold[0].from_us < hold[0].to_us < 48e6
