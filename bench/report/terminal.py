"""The result in the terminal after a run: verdict, what failed in plain words, timings, what was not shown, files."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator, Sequence
from typing import TextIO

from bench.judge.findings import Finding, Judgement
from bench.report import wording
from bench.report.cautions import SIMULATED
from bench.report.levels import ABOUT as LEVELS
from bench.report.levels import table_lines as level_lines
from bench.report.page import Summary, summaries
from bench.report.repeated import ABOUT as SPREAD
from bench.report.repeated import Repeated, table_lines
from bench.trace.records import Header
from firmware_ref.parameters import Parameters

#: A line and its style for a terminal with colours; the words alone must do.
Line = tuple[str, str]

#: Width where nothing says how wide the terminal is, and the widest that is pleasant to read.
WIDTH, WIDEST, NARROWEST = 80, 110, 32
#: From this width on the timings are a table, below it a list.
TABLE_FROM = 72
#: From this width on names and values stand in columns.
ROOMY = 48

#: How the figures of what was right are read.
COLUMNS = (
    "Each time counts from the stimulus, a hold and a restart delay from the leak's end. U: expanded uncertainty, "
    "k = 2. Margin: distance to the nearer limit. What is known to some milliseconds only may read just below 0."
)

STYLES = {
    "pass": "bold green",
    "fail": "bold red",
    "inconclusive": "bold yellow",
    "bench-fault": "bold magenta",
    "stopped": "bold yellow",
}


def show_result(
    out: TextIO,
    header: Header,
    judgement: Judgement,
    parameters: Parameters,
    files: Sequence[tuple[str, str]] = (),
    width: int | None = None,
    colour: bool | None = None,
    repeated: Sequence[Repeated] = (),
) -> None:
    """Print the result.  `files`: (what it is, where it is) of each file written.

    `width` and `colour` default to what the stream is: colours only on a
    terminal, and not where NO_COLOR is set.
    """
    lines = result_lines(header, judgement, parameters, files, width or width_of(out), repeated)
    if not (wants_colour(out) if colour is None else colour):
        for text, _ in lines:
            out.write(printable(text, out) + "\n")
        return
    from rich.console import Console
    from rich.text import Text

    console = Console(file=out, force_terminal=True, width=WIDEST + 1, soft_wrap=True, highlight=False)
    for text, style in lines:
        console.print(Text(printable(text, out), style=style), soft_wrap=True)


def width_of(out: TextIO) -> int:
    """Columns to write in."""
    if not out.isatty():
        return WIDTH
    return max(NARROWEST, min(WIDEST, shutil.get_terminal_size((WIDTH, 24)).columns))


def wants_colour(out: TextIO) -> bool:
    """Whether the stream is a terminal that may show colours (the NO_COLOR convention is kept)."""
    return out.isatty() and not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb"


def printable(text: str, out: TextIO) -> str:
    """`text` in what the stream's encoding can write: an older console must not end a run."""
    encoding = getattr(out, "encoding", None) or "utf-8"
    return (
        text.replace("±", "+/-").encode(encoding, "replace").decode(encoding) if not _can(encoding) else text
    )


def _can(encoding: str) -> bool:
    return encoding.lower().replace("_", "-") in ("utf-8", "utf8", "utf-16", "utf-8-sig")


def result_lines(
    header: Header,
    judgement: Judgement,
    parameters: Parameters,
    files: Sequence[tuple[str, str]] = (),
    width: int = WIDTH,
    repeated: Sequence[Repeated] = (),
) -> list[Line]:
    """The result as lines no wider than `width` (a single longer word excepted)."""
    return list(_lines(header, judgement, parameters, files, max(NARROWEST, width), repeated))


def _lines(
    header: Header, judgement: Judgement, parameters: Parameters, files: Sequence[tuple[str, str]], width: int,
    repeated: Sequence[Repeated],
) -> Iterator[Line]:  # fmt: skip
    yield "", ""
    word = wording.VERDICTS[judgement.verdict]
    yield from _wrap(
        f"{word}  {wording.sentence(judgement.reason)}", width, STYLES[judgement.verdict], len(word) + 2
    )
    yield from _wrap(wording.VERDICT_MEANS[judgement.verdict], width)
    if header.simulated:
        yield from _wrap(SIMULATED, width, "bold")
    yield "", ""
    yield from _facts(header, judgement, width)
    failed = [f for f in judgement.findings if f.verdict == "fail"]
    if failed:
        provisional = " (provisional)" if judgement.verdict in ("bench-fault", "stopped") else ""
        yield from _title(f"What failed{provisional}")
        for number, finding in enumerate(failed, 1):
            yield from _finding(number, finding, width)
    undecided = [f for f in judgement.findings if f.verdict == "inconclusive"]
    if undecided:
        yield from _title("What was not decided")
        for number, finding in enumerate(undecided, len(failed) + 1):
            yield from _finding(number, finding, width)
    passed = summaries(judgement, parameters)
    if passed:
        yield from _title("What was right")
        timed = [s for s in passed if s.least is not None]
        yield from _table(timed, width) if width >= TABLE_FROM else _list(timed, width)
        if timed:
            yield from _wrap(COLUMNS, width, "dim")
        yield from _seen([s for s in passed if s.least is None], width)
    if judgement.levels:
        yield from _title("Where it trips and clears")
        yield from ((line, "") for line in level_lines(judgement.levels, width))
        yield from _wrap(LEVELS, width, "dim")
    if repeated:
        yield from _title("How repeated timings scatter, in s")
        yield from ((line, "") for line in table_lines(repeated, width))
        yield from _wrap(SPREAD, width, "dim")
    for name, items in (
        ("Not exercised", judgement.not_exercised),
        ("Not judged", judgement.not_judged),
        ("Cannot be shown on this bench", judgement.cannot_show),
    ):
        if items:
            yield from _title(name)
            for item in items:
                yield from _wrap(f"- {wording.clean(item)}", width, indent=2, first="  ")
    if files:
        yield from _title("Files")
        wide = max(len(what) for what, _ in files)
        beside = all(len(place) + wide + 4 <= width for _, place in files)
        for what, place in files:  # a path is never wrapped: it is to be copied
            if beside:
                yield f"  {what:<{wide}}  {place}", ""
            else:
                yield f"  {what}:", ""
                yield f"{'    ' if len(place) + 4 <= width else ''}{place}", ""


def _facts(header: Header, judgement: Judgement, width: int) -> Iterator[Line]:
    rows = [
        ("unit", wording.clean(header.unit_under_test or "not given")),
        (
            "profile",
            f"{wording.name_of(header.profile)}, {wording.clean(header.profile_sha256)[:12] or 'no hash'}",
        ),
        ("procedure", wording.name_of(header.procedure)),
        ("board time", wording.duration_words(judgement.board_seconds)),
    ]
    if judgement.decision == "simple":
        rows.append(("decision", "simple: the limit itself decides, whatever the bound"))
    if header.operator:
        rows.insert(1, ("operator", wording.clean(header.operator)))
    for name, value in rows:
        if width < ROOMY:
            yield from _wrap(f"{name}: {value}", width, indent=2)
        else:
            yield from _wrap(f"{name:<10}  {value}", width, indent=12)


def _title(text: str) -> Iterator[Line]:
    yield "", ""
    yield text, "bold"


def _finding(number: int, finding: Finding, width: int) -> Iterator[Line]:
    what = "whole board" if finding.output is None else f"output {wording.clean(finding.output)}"
    head = f"{number}. {finding.requirement}, {what}: {wording.kind_words(finding)}"
    yield from _wrap(head, width, STYLES[finding.verdict], indent=3, first="  ")
    yield from _wrap(wording.sentence(finding.text), width, indent=0, first="     ")
    yield from _wrap(f"Required: {wording.requirement_words(finding.requirement)}", width, "dim", 0, "     ")
    places = wording.places_of(finding)
    details = [f"at {wording.clock_words(finding.at_s, tenths=True)}"]
    if finding.measured is not None:
        details.append(f"measured {wording.figure(finding.measured, finding.unit, places)}")
    limits = wording.limits_words(finding.limits, finding.unit, places)
    if limits and limits != wording.NO_LIMIT:
        details.append(f"limits {limits} {finding.unit}")
    if finding.bound is not None:
        details.append(f"bound ±{wording.figure(finding.bound, finding.unit)}")
    if finding.uncertainty is not None:
        details.append(f"U {wording.figure(finding.uncertainty, finding.unit)}")
    if finding.margin is not None:
        details.append(f"margin {wording.margin_words(finding.margin, finding.unit, places)} {finding.unit}")
    if finding.count > 1:
        details.append(f"{finding.count} times")
    if finding.also:
        details.append(f"broke later, too: {', '.join(finding.also)}")
    yield from _wrap("; ".join(details), width, "dim", 0, "     ")


def _measured(summary: Summary) -> str:
    unit = summary.tightest.unit
    least, most = wording.number(summary.least, unit), wording.number(summary.most, unit)
    return least if least == most else f"{least} to {most}"


def _cells(summary: Summary) -> list[str]:
    tight = summary.tightest
    unit = tight.unit
    return [
        summary.requirement,
        summary.output,
        str(summary.count),
        _measured(summary),
        wording.limits_words(tight.limits, unit),
        wording.number(tight.uncertainty, unit),
        wording.margin_words(tight.margin, unit),
        unit if summary.least is not None else "",
    ]


def _table(passed: Sequence[Summary], width: int) -> Iterator[Line]:
    if not passed:
        return
    heads = ["requirement", "output", "times", "measured", "limits", "U", "margin", ""]
    lines = wording.columns([heads, *map(_cells, passed)], left=(0, 1, 7))
    if max(map(len, lines)) + 2 > width:
        yield from _list(passed, width)
        return
    for number, line in enumerate(lines):
        yield f"  {line}", "" if number else "dim"


def _seen(passed: Sequence[Summary], width: int) -> Iterator[Line]:
    """What was right and has no figure, in one sentence."""
    names = [f"{s.requirement} {s.output}" + (f" ({s.count} times)" if s.count > 1 else "") for s in passed]
    if names:
        yield from _wrap(f"also right: {', '.join(names)}", width, indent=2, first="  ")


def _list(passed: Sequence[Summary], width: int) -> Iterator[Line]:
    for summary in passed:
        requirement, output, count, measured, limits, uncertainty, margin, unit = _cells(summary)
        text = f"{requirement} {output}: {measured} {unit}".rstrip()
        if limits == wording.NO_LIMIT:
            text += f", {limits}, U {uncertainty}"
        elif limits:
            text += f", limits {limits}, U {uncertainty}, margin {margin}"
        yield from _wrap(f"{text} ({count} times)" if count != "1" else text, width, indent=2, first="  ")


def _wrap(text: str, width: int, style: str = "", indent: int = 0, first: str = "") -> Iterator[Line]:
    for line in wording.wrapped(text, width, indent, first):
        yield line, style
