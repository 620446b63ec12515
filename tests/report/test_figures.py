"""As many decimals as tell a value from its limits, and no more."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

import bench.trace
from bench.judge.figures import decimals
from bench.judge.judge import judge_trace
from bench.trace.file import from_json, trace_of
from tests.boards import furnace
from tests.scripted import failed

DOC = Path(bench.trace.__file__).parent / "FORMAT.md"


@pytest.mark.parametrize(
    ("value", "limits", "places"),
    [
        (0.1, (None, 0.25), 3),
        (0.25, (None, 0.25), 3),
        (0.2504, (0.0, 0.25), 4),
        (0.25004, (None, 0.25), 5),
        (0.250001, (None, 0.25), 6),
        (0.249999, (None, 0.25), 6),
        (0.2496, (None, 0.25), 4),
        (2.0004, (2.0, 6.0), 4),
        (5.0, (), 3),
    ],
)
def test_decimals(value: float, limits: tuple[float | None, ...], places: int) -> None:
    assert decimals(value, *limits) == places


@pytest.mark.parametrize(
    ("late_us", "said"), [(40, "0.25004 s after"), (400, "0.2504 s after"), (1, "0.250001 s")]
)
def test_a_fail_by_the_limit_itself_shows_on_which_side_it_lies(late_us: int, said: str) -> None:
    lines = DOC.read_text(encoding="utf-8").split("```json\n")[1].split("```")[0].splitlines()
    plain = [json.loads(line) for line in lines]
    edge = next(p for p in plain if p.get("ch") == "out.Y")
    edge["earliest_us"] = edge["latest_us"] = 20_000_500 + 250_000 + late_us
    (finding,) = failed(judge_trace(trace_of([from_json(p) for p in plain], "by hand"), furnace(), "simple"))
    assert finding.kind == "too-late"
    assert said in finding.text
    measured = finding.text.split(" s after")[0].split()[-1]
    assert measured not in finding.text.split("allowed")[1]
    assert not finding.text.split("too late by ")[-1].startswith("0.000 s")
