"""The page: whole, well formed, escaped, and in need of nothing from outside."""

from __future__ import annotations

import itertools
import re
from html.parser import HTMLParser
from xml.etree import ElementTree

import pytest

from bench.report.cautions import CAUTIONS, SIMULATED
from bench.report.page import date_words, render_page, summaries
from bench.trace.records import Trace
from tests.report import runs

VOID = {"meta", "br", "hr", "img", "link", "input"}
SVG = "{http://www.w3.org/2000/svg}"


class Page(HTMLParser):
    """Tags in order, texts, ids, links; complains about tags that do not close."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.texts: list[str] = []
        self.open: list[str] = []
        self.feed(text)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if self.open and self.open[-1] not in ("style", "script"):
            self.texts.append(data)

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.texts).split())

    def having(self, tag: str) -> list[dict[str, str | None]]:
        return [attrs for name, attrs in self.tags if name == tag]


def page(text: str | None = None) -> Page:
    return Page(text or render_page(runs.trace(), runs.judgement(), runs.PARAMETERS, "a.jsonl"))


def test_everything_is_on_it() -> None:
    text = page().text
    for part in (
        "FAIL", "hold: too early", "SN 1042", "J. Doe", "2025-11-25 14:03:11 UTC", "invented-split-furnace",
        "9f2c" * 16, "maker us, model bench one, serial 7", "a.jsonl", "acceptance", "315.000 s",
        "358.000 to 372.250 s", "±0.050 s", "0.020 s", "−43.000 s", "supply", "restart of Y",
        "a pulse shorter than one half cycle", "What was not decided", "up to 0.250", "+0.150",
        *CAUTIONS,
    ):  # fmt: skip
        assert part in text, part


def test_simulated_is_said_where_it_is_and_only_there() -> None:
    plain = render_page(runs.trace(), runs.judgement(), runs.PARAMETERS)
    simulated = render_page(runs.trace(simulated=True), runs.judgement(), runs.PARAMETERS)
    assert SIMULATED not in plain
    assert Page(simulated).text.count(SIMULATED) >= 2
    assert f'content: "{SIMULATED}"' in simulated  # on each printed sheet


def test_nothing_comes_from_outside() -> None:
    text = render_page(runs.trace(), runs.judgement(), runs.PARAMETERS)
    addresses = re.findall(r"(?:https?:)?//[^\s\"'<>]+", text.replace(SVG[1:-1], ""))
    assert addresses == []
    assert not re.search(r"url\(|@import|<script|<link|\ssrc=", text)
    assert all((a["href"] or "").startswith("#") for a in page(text).having("a"))


def test_texts_from_outside_are_escaped() -> None:
    nasty = runs.NASTY
    finding = runs.Finding("trip", "Y", "fail", 24.0, nasty, kind="missing", limits=(2.0, 4.0))
    judged = runs.judgement(
        reason=nasty, findings=(finding,), not_exercised=(nasty,), not_judged=(nasty,), cannot_show=(nasty,)
    )
    trace = Trace(
        runs.header(
            unit_under_test=nasty, operator=nasty, created=nasty, profile={"name": nasty}, procedure={"name": nasty},
            fixture={"model": nasty, nasty: nasty}, mitbench=nasty, calibration={"created": nasty}, profile_sha256=nasty,
        ),
        (*runs.records()[:-1], runs.Note(300 * runs.S, nasty), runs.End(400 * runs.S, "complete", nasty)),
    )  # fmt: skip
    text = render_page(trace, judged, runs.PARAMETERS, nasty)
    assert "<script" not in text and "\x1b" not in text
    assert page(text).text.count('alert("x")') >= 10
    for drawing in re.findall(r"<svg.*?</svg>", text, re.S):
        ElementTree.fromstring(drawing)


def test_headings_tables_and_ids() -> None:
    found = page()
    assert found.having("html") == [{"lang": "en"}]
    levels = [int(tag[1]) for tag, _ in found.tags if re.fullmatch(r"h[1-6]", tag)]
    assert levels[0] == 1 and levels.count(1) == 1
    assert all(after - before <= 1 for before, after in itertools.pairwise(levels))
    assert all(th.get("scope") in ("col", "row") for th in found.having("th")) and found.having("th")
    ids = [attrs["id"] for _, attrs in found.tags if "id" in attrs]
    assert len(ids) == len(set(ids))
    targets = {a["href"] for a in found.having("a")}
    assert {"#finding-1", "#finding-2"} <= targets <= {f"#{i}" for i in ids}
    labelled = [attrs.get("aria-labelledby", "") or "" for _, attrs in found.tags]
    assert {name for names in labelled for name in names.split()} <= set(ids)


def test_drawings_are_well_formed_and_named() -> None:
    text = render_page(runs.trace(), runs.judgement(), runs.PARAMETERS)
    drawings = [ElementTree.fromstring(d) for d in re.findall(r"<svg.*?</svg>", text, re.S)]
    assert drawings
    for drawing in drawings:
        assert drawing.get("role") == "img"
        assert drawing.findtext(f"{SVG}title") and drawing.findtext(f"{SVG}desc")
    shapes = [e.get("class") or "" for d in drawings for e in d.iter()]
    for wanted in (
        "bar output",
        "bar call",
        "bar supply",
        "window pass",
        "window fail",
        "mark fail",
        "tear",
        "level",
    ):
        assert wanted in shapes, wanted
    assert any(
        "5 min" in (e.text or "") for d in drawings for e in d.iter(f"{SVG}text") if e.get("class") == "cut"
    )


@pytest.mark.parametrize("verdict", ["pass", "fail", "inconclusive", "bench-fault", "stopped"])
def test_each_verdict_has_its_word(verdict: str) -> None:
    text = page(render_page(runs.trace(), runs.judgement(verdict), runs.PARAMETERS)).text
    assert verdict.replace("-", " ").upper() in text
    assert ("(provisional)" in text) == (verdict in ("bench-fault", "stopped"))


def test_a_run_that_ended_before_anything_was_read_has_a_page() -> None:
    nothing = runs.judgement("inconclusive", findings=(), not_exercised=(), not_judged=(), cannot_show=())
    text = page(render_page(Trace(runs.header(), ()), nothing, runs.PARAMETERS)).text
    assert "before anything was read" in text and "without an end record" in text


def test_passed_findings_are_taken_together() -> None:
    looser = runs.Finding("follow", "Y", "pass", 15.0, "", measured=0.05, limits=(None, 0.25), margin=0.2)
    judged = runs.judgement("pass", findings=(looser, runs.RIGHT, runs.HELD))
    first, second = summaries(judged, runs.PARAMETERS)
    assert (first.requirement, first.count, first.least, first.most) == ("follow", 2, 0.05, 0.1)
    assert first.tightest is runs.RIGHT
    assert (second.requirement, second.least) == ("blocked", None)


@pytest.mark.parametrize(
    ("created", "words"),
    [
        ("2025-11-25T14:03:11.250+00:00", "2025-11-25 14:03:11 UTC"),
        ("2025-11-25T14:03:11-05:00", "2025-11-25 14:03:11 -05:00"),
        ("2025-11-25", "2025-11-25"),
        ("", "not given"),
    ],
)
def test_dates(created: str, words: str) -> None:
    assert date_words(created) == words
