"""The example in FORMAT.md is a trace, and is judged as the page says."""

from __future__ import annotations

from pathlib import Path

import bench.trace
from bench.judge.judge import judge_trace
from bench.trace.file import _TYPES, read_trace
from tests.boards import furnace
from tests.scripted import failed

DOC = Path(bench.trace.__file__).parent / "FORMAT.md"


def test_the_example_is_judged_as_the_page_says(tmp_path):
    text = DOC.read_text(encoding="utf-8")
    path = tmp_path / "hand.jsonl"
    path.write_text(text.split("```json\n")[1].split("```")[0], encoding="utf-8")
    judgement = judge_trace(read_trace(path), furnace())
    assert judgement.verdict == "fail"
    (finding,) = failed(judgement)
    assert (finding.requirement, finding.output, finding.kind) == ("follow", "Y", "too-late")
    assert abs(finding.measured - 0.401) < 1e-6


def test_every_record_type_is_described():
    text = DOC.read_text(encoding="utf-8")
    for name in _TYPES:
        assert f"| `{name}` |" in text
