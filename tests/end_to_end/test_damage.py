"""One damaged byte never changes a verdict; `tests/performance/damage.py` tries every position."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from tests.end_to_end.damage import BOARDS, ShortRun, damages

pytestmark = pytest.mark.slow
EVERY = int(os.environ.get("EVERY", "97"))


@pytest.mark.parametrize("faults", BOARDS, ids=lambda faults: faults[0] if faults else "good")
def test_a_damaged_byte_never_changes_the_verdict(faults: tuple[str, ...], tmp_path: Path) -> None:
    run = ShortRun(str(tmp_path), faults)
    clean, counted = run.verdict(None)
    assert clean == ("fail" if faults else "pass")
    tail = damages(counted, 5, first=counted[1] - 250)  # what is told last is what a retry may cost
    seen = [run.verdict(damage)[0] for damage in damages(counted, EVERY) + tail]
    assert set(seen) <= {clean, "bench-fault"}
    assert seen.count(clean) >= 0.99 * len(seen)
