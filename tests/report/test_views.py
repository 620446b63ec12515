"""The live view and the plain lines: what they say, when they draw, and that time is the records' own."""

from __future__ import annotations

import io
from dataclasses import replace

import pytest
from rich.console import Console

from bench.report.answer import EnterKey
from bench.report.cautions import CAUTIONS, SIMULATED
from bench.report.live import REDRAW_US, LiveView
from bench.report.live_picture import State, picture
from bench.report.plain import Plain
from bench.report.watched import Watched
from bench.trace.records import Edge, End, Snapshot
from firmware_ref.parameters import Mode
from tests.boards import air_handler
from tests.report import runs

S = runs.S


class HostClock:
    def __init__(self) -> None:
        self.us = 0

    def __call__(self) -> int:
        return self.us


def state(judge: runs.FixedJudge, upto: int = 16, **changed: object) -> State:
    watched = Watched(runs.PARAMETERS)
    for record in runs.records()[:upto]:
        watched.take(record)
    return State(runs.header(**changed), runs.PARAMETERS, watched, judge, step=(3, 9, "Leak: sensor.1 leak"))


def test_the_screen_says_everything_in_words() -> None:
    judge = runs.FixedJudge()
    judge.modes = (Mode.LEAK_ACTIVE,)
    judge.running = [("cleared", 26 * S, 30 * S), ("hold_over", 300 * S, None)]
    judge.findings = [runs.RIGHT, runs.FAILED]
    screen = picture(state(judge, upto=11, simulated=True), 80, 24).plain
    rows = screen.splitlines()
    assert SIMULATED in screen
    assert "expected   leak-active" in screen
    assert "timer      clear: 2.0 s to 6.0 s left" in screen
    assert "supply     on" in screen
    assert "leak  1.310 V = 20.2 %LFL" in screen
    assert next(r for r in rows if r.startswith("call")).split() == ["call", "on", "off", "off"]
    assert next(r for r in rows if r.startswith("output")).split() == ["output", "off", "off", "on"]
    assert next(r for r in rows if r.startswith("must")).split() == [
        "must",
        "stay",
        "off",
        "stay",
        "off",
        "stay",
        "on",
    ]
    assert "4 of 9  Leak: sensor.1 leak" in screen
    assert "0:24 of about 6:40" in screen
    assert "1 right, 1 failed, 0 undecided (provisional)" in screen
    assert "FAIL  hold:" in screen


@pytest.mark.parametrize(("width", "height"), [(80, 24), (44, 14), (100, 60), (24, 8)])
def test_the_screen_fits(width: int, height: int) -> None:
    judge = runs.FixedJudge()
    judge.findings = [runs.FAILED] * 50
    rows = picture(state(judge), width, height).plain.splitlines()
    assert len(rows) < height
    assert max(map(len, rows)) <= width


@pytest.mark.parametrize(
    ("running", "words"),
    [
        ([], "none is running"),
        ([("hold", 10 * S, 20 * S)], "none is running"),  # over
        ([("hold", 390 * S, 460 * S)], "hold: may end now, in 1 min at the latest"),
        ([("hold", 406 * S, 406 * S)], "hold: 6.0 s left"),
        ([("return", 300 * S, None)], "return: may end at any time"),
    ],
)
def test_time_left_comes_from_the_ticks(running: list[tuple[str, int, int | None]], words: str) -> None:
    judge = runs.FixedJudge()
    judge.running = running
    assert f"timer      {words}\n" in picture(state(judge), 80, 24).plain


def test_the_live_view_feeds_the_judge_and_draws_no_faster_than_its_clock_allows() -> None:
    out, judge, clock = io.StringIO(), runs.FixedJudge(), HostClock()
    console = Console(file=out, force_terminal=True, width=80, height=24)
    drawn: list[int] = []
    with LiveView(console, runs.header(), runs.PARAMETERS, judge, clock) as view:
        view._live.update = lambda *a, **k: drawn.append(clock.us)  # type: ignore[method-assign]
        for record in runs.records()[:-1]:
            view.record(record)
        assert drawn == []
        clock.us += REDRAW_US
        view.step(0, 1, "on")
        view.step(0, 1, "on")
        assert len(drawn) == 1
        view.record(runs.records()[-1])
        assert len(drawn) == 2  # the end is always drawn
    assert judge.fed == list(runs.records())
    assert judge.advanced == [199 * S]
    assert all(caution.split(".")[0] in " ".join(out.getvalue().split()) for caution in CAUTIONS)


@pytest.mark.parametrize("width", [40, 60, 80, 120])
def test_the_cautions_are_wrapped_to_the_terminal(width: int) -> None:
    out = io.StringIO()
    with LiveView(
        Console(file=out, width=width, height=24),
        runs.header(),
        runs.PARAMETERS,
        runs.FixedJudge(),
        HostClock(),
    ):
        pass
    lines = out.getvalue().splitlines()
    first = next(n for n, line in enumerate(lines) if line.startswith("- "))
    cautions = lines[first : lines.index("", first)]
    assert all(line.startswith(("- ", "  ")) for line in cautions)
    assert [" ".join(" ".join(cautions).split())] == [" ".join(f"- {caution}" for caution in CAUTIONS)]


def test_a_prompt_stays_until_it_is_answered() -> None:
    answers = [False, True]
    console = Console(file=io.StringIO(), force_terminal=True, width=80, height=24)
    with LiveView(
        console,
        runs.header(),
        runs.PARAMETERS,
        runs.FixedJudge(),
        HostClock(),
        answered=lambda: answers.pop(0),
    ) as view:
        view.ask("fit the plug")
        assert "DO NOW     fit the plug. Press Enter" in picture(view.state, 80, 24).plain
        assert not view.answered() and view.state.asked
        assert view.answered() and not view.state.asked


def plain_lines(judge: runs.FixedJudge, **changed: object) -> list[str]:
    out = io.StringIO()
    with Plain(out, runs.header(**changed), runs.PARAMETERS, judge) as view:
        for record in runs.records():
            if getattr(record, "seq", None) == 9:
                judge.modes = (Mode.NORMAL, Mode.LEAK_ACTIVE)
            elif getattr(record, "seq", None) == 10:
                judge.modes = (Mode.LEAK_ACTIVE,)
            elif isinstance(record, End):
                judge.findings = [runs.RIGHT, runs.FAILED]
            view.record(record)
    return out.getvalue().splitlines()


def test_plain_lines() -> None:
    lines = plain_lines(runs.FixedJudge(), simulated=True)
    begin = lines.index("   0:00  expected: unpowered")
    assert SIMULATED in lines[:begin]
    assert lines[begin + 1 :] == [
        "   0:00  Power-up",
        "   0:12  Calls",
        "   0:20  Leak",
        "   0:24  expected: leak-active",
        "   6:40  FAIL (provisional) hold: Y went on 315.000 s after sensor 1 went to 0.810 V, too early by 43.000 s.",
        "   6:40  end of the run, complete",
    ]
    said = " ".join(" ".join(lines[:begin]).replace("- ", "").split())
    assert all(caution in said for caution in CAUTIONS)


def test_plain_lines_hold_no_control_characters_and_suit_an_old_console() -> None:
    raw = io.BytesIO()
    out = io.TextIOWrapper(raw, encoding="ascii", newline="\n")
    with Plain(out, runs.header(unit_under_test="\x1b[2J Ω\n±1"), runs.PARAMETERS, runs.FixedJudge()):
        pass
    first = raw.getvalue().decode("ascii").splitlines()[0]
    assert first.endswith("unit [2J ? +/-1")


def test_enter_key() -> None:
    key = EnterKey(io.StringIO("\n"))
    assert not key()
    assert key._waiting is not None
    key._waiting.join()
    assert key()
    assert not key()  # the input is at its end: that is no answer
    key._waiting.join()
    assert not key()


def test_the_screen_says_what_the_light_shows() -> None:
    parameters = replace(runs.PARAMETERS, light=air_handler().light)
    watched = Watched(parameters)
    shown = State(runs.header(), parameters, watched, runs.FixedJudge())
    assert "light      not read yet" in picture(shown, 80, 24).plain
    assert "light" not in picture(state(runs.FixedJudge()), 80, 24).plain
    watched.take(Snapshot(0, {"light": "off"}))
    at_us = 2 * S
    for _ in range(2):
        for _ in range(4):
            watched.take(Edge(0, "light", "on", at_us, at_us))
            watched.take(Edge(0, "light", "off", at_us + 250_000, at_us + 250_000))
            at_us += 500_000
        at_us += 950_000
    assert "light      4 flashes" in picture(shown, 80, 24).plain
    watched.take(Edge(0, "light", "on", at_us, at_us))
    watched.pass_time(at_us + 10 * S)
    assert "light      steady" in picture(shown, 80, 24).plain
