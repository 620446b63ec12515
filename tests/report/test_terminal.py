"""The result in the terminal: complete, narrow enough, and readable without colour."""

from __future__ import annotations

import io
import re
import subprocess
import sys
from dataclasses import replace

import pytest

from bench.judge.findings import REQUIREMENTS
from bench.report import wording
from bench.report.cautions import SIMULATED
from bench.report.terminal import result_lines, show_result
from tests.report import runs

FILES = [("trace", "runs/a.jsonl"), ("page", "runs/a.html")]


def shown(width: int = 80, verdict: str = "fail", **changed: object) -> list[str]:
    lines = result_lines(runs.header(**changed), runs.judgement(verdict), runs.PARAMETERS, FILES, width)
    return [text for text, _ in lines]


@pytest.mark.parametrize("width", [32, 50, 71, 72, 80, 110])
def test_nothing_is_wider_than_asked_and_nothing_is_lost(width: int) -> None:
    lines = shown(width, simulated=True)
    assert max(map(len, lines)) <= width
    text = " ".join(" ".join(lines).split())
    for part in (
        "FAIL hold: too early.", SIMULATED, "SN 1042", "J. Doe", "1. hold, whole board: too early", "measured 315.000 s",
        "limits 358.000 to 372.250 s", "bound ±0.050 s", "U 0.020 s", "margin -43.000 s", "2 times",
        "broke later, too: release", "2. trip, output G: undecided", "up to 0.250", "+0.150", "also right: blocked W",
        "Not exercised - supply", "Not judged - restart of Y", "runs/a.jsonl", "runs/a.html",
    ):  # fmt: skip
        assert part in text, part


@pytest.mark.parametrize("width", range(32, 80, 3))
def test_a_figure_keeps_its_unit_on_its_line(width: int) -> None:
    lines = shown(width)
    assert not any(line.lstrip().startswith(("s ", "s;", "s.", "s,", "times")) for line in lines)
    assert "\u00a0" not in "".join(lines)


def test_a_path_that_does_not_fit_beside_its_name_stands_whole_on_a_line_of_its_own() -> None:
    place = "runs/20250101-120000_SN-1042_invented-split-furnace.jsonl"
    for width in (32, 60, 64):
        lines = result_lines(
            runs.header(), runs.judgement(), runs.PARAMETERS, [("trace", place), ("results", "r.csv")], width
        )
        texts = [text for text, _ in lines]
        assert texts[texts.index("  trace:") + 1].strip() == place
        assert max(map(len, texts)) <= max(width, len(place))
    beside = [
        t for t, _ in result_lines(runs.header(), runs.judgement(), runs.PARAMETERS, [("trace", place)], 80)
    ]
    assert f"  trace  {place}" in beside


def test_a_value_that_is_just_outside_does_not_read_like_its_limit() -> None:
    finding = replace(runs.RIGHT, verdict="fail", kind="too-late", measured=0.25004, margin=-0.00004)
    lines = result_lines(runs.header(), runs.judgement(findings=(finding,)), runs.PARAMETERS, (), 110)
    text = " ".join(t.strip() for t, _ in lines)
    assert "measured 0.25004 s; limits up to 0.25000 s" in text
    assert "margin -0.00004 s" in text


def test_a_real_run_is_not_called_simulated() -> None:
    assert SIMULATED not in "\n".join(shown())


def test_fails_of_a_run_that_the_bench_ended_are_provisional() -> None:
    assert "What failed (provisional)" in shown(verdict="bench-fault")
    assert "What failed" in shown()


def test_colour_only_where_it_is_wanted() -> None:
    plain, coloured = io.StringIO(), io.StringIO()
    args = runs.header(unit_under_test="\x1b[5m[bold]x"), runs.judgement(), runs.PARAMETERS, FILES, 80
    show_result(plain, *args)
    show_result(coloured, *args, colour=True)
    assert "\x1b" not in plain.getvalue() and "[5m[bold]x" in plain.getvalue()
    assert "\x1b[1;31m" in coloured.getvalue() and "\x1b[5m" not in coloured.getvalue()


def test_importing_the_room_is_cheap() -> None:
    code = (
        "import sys, bench.report, bench.report.terminal, bench.report.page, bench.report.plain, bench.report.live;"
        "print(sorted({m.split('.')[0] for m in sys.modules} & {'jinja2', 'pydantic', 'yaml'}))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_a_value_that_nothing_limits_is_called_not_judged_and_no_zero_has_a_sign() -> None:
    judged = runs.judgement("pass")
    trip = replace(
        next(f for f in judged.findings if f.requirement == "trip"), verdict="pass", kind=None, measured=36.04,
        limits=(None, None), margin=None,
    )  # fmt: skip
    follow = replace(trip, requirement="follow", measured=-0.0002, limits=(None, 0.25), margin=0.25)
    judged = replace(judged, findings=[follow, trip])
    for width in (60, 100):
        text = " ".join(t for t, _ in result_lines(runs.header(), judged, runs.PARAMETERS, FILES, width))
        assert re.search(r"36\.040 (s, )?( *)not judged", text), text
        assert "0.000" in text and "-0.000" not in text
        assert " ".join(["U:", "expanded", "uncertainty"]) in " ".join(text.split())


def test_a_result_by_the_simple_rule_says_so() -> None:
    judged = runs.judgement("pass")
    lines = [
        [
            t
            for t, _ in result_lines(
                runs.header(), replace(judged, decision=rule), runs.PARAMETERS, FILES, 80
            )
        ]
        for rule in ("simple", "guarded")
    ]
    simple, guarded = (any(t.startswith("decision ") for t in texts) for texts in lines)
    assert simple and not guarded


def test_every_requirement_is_said_in_words() -> None:
    assert set(wording.REQUIREMENTS) == set(REQUIREMENTS)
