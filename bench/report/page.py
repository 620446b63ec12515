"""The page of one run: one HTML file that holds everything, needs nothing else, and prints well."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from bench.judge.findings import REQUIREMENTS, Finding, Judgement
from bench.report import wording
from bench.report.cautions import CAUTIONS, SIMULATED
from bench.report.diagram import diagrams
from bench.report.lanes import numbered, picture_of
from bench.report.levels import ABOUT as LEVELS
from bench.report.levels import HEADS as LEVEL_HEADS
from bench.report.levels import cells as level_cells
from bench.report.repeated import ABOUT as SPREAD
from bench.report.repeated import HEADS, repeated
from bench.trace.records import Clock, Header, Trace
from firmware_ref.parameters import Parameters

_HERE = Path(__file__).parent
#: Keys of a fixture's identity that are shown first, in this order.
_FIXTURE_KEYS = ("maker", "model", "serial", "firmware")
#: Said on the page already, in words.
_SAID = ("simulated", "speed")


@dataclass(frozen=True, slots=True)
class Summary:
    """Passed findings of one kind taken together: how many, from where to where, and the tightest."""

    requirement: str
    output: str
    count: int
    least: float | None
    most: float | None
    tightest: Finding


def render_page(trace: Trace, judgement: Judgement, parameters: Parameters, trace_name: str = "") -> str:
    """The page as text.  `trace_name`: what the trace file is called, without its folder."""
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    environment = Environment(
        loader=FileSystemLoader(_HERE),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["clean"] = wording.clean
    header = trace.header
    picture = picture_of(trace, judgement, parameters)
    marked = numbered(judgement)
    return environment.get_template("page.html.j2").render(
        w=wording,
        style=(_HERE / "page.css").read_text("utf-8"),
        simulated_words=SIMULATED,
        cautions=CAUTIONS,
        header=header,
        judgement=judgement,
        trace_name=trace_name,
        facts=facts(header, judgement),
        evidence=evidence(trace, judgement, trace_name),
        provisional=judgement.verdict in ("bench-fault", "stopped"),
        failed=[(n, f) for n, f in marked if f.verdict == "fail"],
        undecided=[(n, f) for n, f in marked if f.verdict != "fail"],
        summaries=summaries(judgement, parameters),
        levels=[level_cells(level) for level in judgement.levels],
        level_heads=LEVEL_HEADS,
        level_words=LEVELS,
        spread=repeated(trace, judgement),
        spread_heads=HEADS,
        spread_words=SPREAD,
        passed=[f for f in judgement.findings if f.verdict == "pass"],
        drawings=diagrams(picture, parameters) if picture is not None else [],
    )


def write_page(
    path: Path, trace: Trace, judgement: Judgement, parameters: Parameters, trace_name: str = ""
) -> None:
    """The page as a file; raises OSError where it cannot be written, and then leaves none."""
    try:
        path.write_text(render_page(trace, judgement, parameters, trace_name), encoding="utf-8", newline="\n")
    except OSError:
        path.unlink(missing_ok=True)
        raise


def facts(header: Header, judgement: Judgement) -> list[tuple[str, str]]:
    """Who, what and when: the rows under the verdict."""
    return [
        ("Unit under test", wording.clean(header.unit_under_test or "not given")),
        ("Profile", wording.name_of(header.profile)),
        ("Procedure", wording.name_of(header.procedure)),
        ("Date", date_words(header.created)),
        ("Operator", wording.clean(header.operator or "not given")),
        ("Board time", wording.duration_words(judgement.board_seconds)),
    ]


def evidence(trace: Trace, judgement: Judgement, trace_name: str) -> list[tuple[str, str]]:
    """On what the result rests."""
    header = trace.header
    samples = sum(isinstance(r, Clock) for r in trace.records)
    clock = "exact (trace written by hand)" if header.clock == "exact" else f"fitted from {samples} samples"
    rule = {
        "guarded": "guarded: a pass lies inside its limit by at least U, a fail outside by more than the bound",
        "simple": "simple: the limit itself decides, whatever the bound; a good board may fail",
    }.get(judgement.decision, judgement.decision)
    end = trace.end
    ended = "without an end record (killed or cut off)" if end is None else f"{end.reason} {end.text}".strip()
    return [
        ("Fixture", fixture_words(header.fixture)),
        ("Simulated", f"yes, speed {header.speed or '1'}" if header.simulated else "no"),
        ("Calibration record", calibration_words(header)),
        ("Fixture clock", clock),
        ("Decision rule", wording.clean(rule)),
        ("Run ended", wording.clean(ended)),
        ("Profile SHA-256", wording.clean(header.profile_sha256) or "not given"),
        ("Trace", wording.clean(trace_name) or "not given"),
        ("mitbench", wording.clean(header.mitbench) or "not given"),
    ]


def calibration_words(header: Header) -> str:
    """When the fixture was checked, and what of that the result rests on."""
    plain = header.calibration
    if not plain:
        return "none for this fixture"
    plug, inputs = "no loop-back plug", plain.get("inputs")
    if isinstance(inputs, list) and inputs:
        plug = f"loop-back plug on {len(inputs)} inputs, {plain.get('plugged')}"
    rate = "measured" if plain.get("computer") else "not measured"
    return wording.clean(f"of {plain.get('created') or 'no date'}; {plug}; computer's clock {rate}")


def fixture_words(fixture: Mapping[str, Any]) -> str:
    """The fixture's identity on one line."""
    keys = [k for k in _FIXTURE_KEYS if fixture.get(k)]
    keys += [k for k in fixture if k not in _FIXTURE_KEYS and k not in _SAID and fixture[k] not in (None, "")]
    return ", ".join(f"{wording.clean(k)} {wording.clean(fixture[k])}" for k in keys) or "not given"


def date_words(created: str) -> str:
    """`2025-11-25T14:03:11+00:00` as `2025-11-25 14:03:11 +00:00`; anything else as it is."""
    date, mark, rest = wording.clean(created).partition("T")
    if not mark:
        return date or "not given"
    time, zone = rest[:8], rest[8:].lstrip(".0123456789")
    return f"{date} {time} {'UTC' if zone in ('Z', '+00:00') else zone}".strip()


def summaries(judgement: Judgement, parameters: Parameters) -> list[Summary]:
    """The passed findings, those of one requirement, output and limits together, in the order of requirements."""
    groups: dict[tuple[str, str, str, str], list[Finding]] = defaultdict(list)
    for f in judgement.findings:
        if f.verdict == "pass":
            groups[f.requirement, wording.where(f), wording.limits_words(f.limits, f.unit), f.unit].append(f)
    found = []
    for (requirement, output, _, _), group in groups.items():
        figures = [f.measured for f in group if f.measured is not None]
        tightest = min(group, key=lambda f: float("inf") if f.margin is None else f.margin)
        found.append(
            Summary(
                requirement,
                output,
                sum(f.count for f in group),
                min(figures, default=None),
                max(figures, default=None),
                tightest,
            )
        )
    outputs = [wording.clean(o.name) for o in parameters.outputs]
    return sorted(found, key=lambda s: (_place(REQUIREMENTS, s.requirement), _place(outputs, s.output)))


def _place(order: Sequence[str], name: str) -> int:
    """Where a name stands in an order; unknown ones last."""
    return order.index(name) if name in order else len(order)
