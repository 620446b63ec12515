"""The result of a run in plain lines, for a person at a terminal or reading a log."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from bench.judge.findings import Finding, Judgement
from bench.trace.records import Header

SIMULATED = "simulated: no evidence about a real board"


def print_summary(header: Header, judgement: Judgement, files: Sequence[str] = ()) -> None:
    """Verdict, what is wrong, what was not proven, and the files the run left."""
    for line in lines(header, judgement, files):
        print(line)


def lines(header: Header, judgement: Judgement, files: Sequence[str] = ()) -> Iterator[str]:
    """The same, line by line."""
    said = [str(header.profile.get("name")), str(header.procedure.get("name") or "no procedure")]
    if header.unit_under_test:
        said.append(f"unit {header.unit_under_test}")
    yield f"{judgement.verdict.upper()}: {', '.join(said)}"
    yield f"  {judgement.reason}"
    if header.simulated:
        yield f"  {SIMULATED}"
    for verdict, title in (("fail", "Failed"), ("inconclusive", "Inconclusive")):
        found = [f for f in judgement.findings if f.verdict == verdict]
        if found:
            yield f"{title}:"
            for finding in found:
                yield from finding_lines(finding)
    passed = sum(f.count for f in judgement.findings if f.verdict == "pass")
    yield f"Passed: {passed} of {sum(f.count for f in judgement.findings)} judged occurrences"
    for title, items in (
        ("Not exercised", judgement.not_exercised),
        ("Not judged", judgement.not_judged),
        ("This bench cannot show", judgement.cannot_show),
    ):
        if items:
            yield f"{title}: {'; '.join(items)}"
    for file in files:
        yield f"Kept: {file}"


def finding_lines(finding: Finding) -> Iterator[str]:
    """One finding: its sentence, and the figures where there are any."""
    times = f" ({finding.count} times)" if finding.count > 1 else ""
    yield f"  {finding.at_s:8.1f} s  {finding.text}{times}"
    figures = [
        figure
        for figure in (
            finding.measured is not None and f"measured {_quantity(finding.measured, finding.unit)}",
            finding.limits and f"limits {_limits(finding.limits, finding.unit)}",
            finding.bound is not None and f"bound ±{_quantity(finding.bound, finding.unit)}",
            finding.uncertainty is not None and f"U ±{_quantity(finding.uncertainty, finding.unit)}",
        )
        if figure
    ]
    if figures:
        yield f"              {', '.join(figures)}"
    if finding.also:
        yield f"              also broken by it: {', '.join(finding.also)}"


def _limits(limits: tuple[float | None, float | None], unit: str) -> str:
    low, high = (None if v is None else _quantity(v, unit) for v in limits)
    if low is None or high is None:
        return f"at most {high}" if low is None else f"at least {low}"
    return f"{low} to {high}"


def _quantity(value: float, unit: str) -> str:
    return f"{value:.3f} {unit}"
