"""The JSON object of a judged run, for other programs."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from bench.judge.findings import Judgement
from bench.trace.records import Header

if TYPE_CHECKING:
    from bench.report.repeated import Repeated


def as_object(
    header: Header, judgement: Judgement, trace: Path | None, repeated: Sequence[Repeated] = ()
) -> dict[str, Any]:
    """The object that `--json` prints; its keys are part of the command's contract."""
    return {
        "verdict": judgement.verdict,
        "reason": judgement.reason,
        "simulated": header.simulated,
        "profile": header.profile.get("name"),
        "procedure": header.procedure.get("name"),
        "unit_under_test": header.unit_under_test,
        "operator": header.operator,
        "trace": None if trace is None else str(trace),
        "board_seconds": judgement.board_seconds,
        "findings": [finding.as_json() for finding in judgement.findings],
        "not_exercised": list(judgement.not_exercised),
        "not_judged": list(judgement.not_judged),
        "cannot_show": list(judgement.cannot_show),
        "levels": [level.as_json() for level in judgement.levels],
        "repeated": [timing.as_json() for timing in repeated],
    }


def print_json(plain: Any) -> None:
    """One JSON object (or list) on stdout."""
    print(json.dumps(plain, indent=2, ensure_ascii=False, allow_nan=False))
