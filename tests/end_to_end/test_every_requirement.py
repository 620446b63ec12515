"""Each requirement has a good board that passes it, a fault of the simulated board and a mistake in firmware that fail it.

That each row of the two tables fails as it says is tested where the tables are run: test_faults.py for the simulated
board, tests/firmware_ref/board and tests/performance/cosim_defects.py for the firmware.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from bench.judge.findings import REQUIREMENTS
from bench.profile import load, shipped
from bench.simulated.faults import catalogue
from tests.end_to_end.command import run_board, sim
from tests.firmware_ref.board.core import FIRMWARE, defects

TRIALS = [str(path) for path in sorted((FIRMWARE / "profiles").glob("*.yaml"))]
ALARM = str(FIRMWARE / "profiles" / "invented-alarm-trial.yaml")
GOOD = (
    ("invented-air-handler", "full"),
    ("invented-packaged-unit", "acceptance"),
    ("invented-split-furnace", "levels"),
    ("invented-zoned-coil", "acceptance"),
    (ALARM, "acceptance"),
)
#: Nothing that could chatter is measured; every good run shows that nothing did.
ONLY_FAILS = {"chatter"}
#: What comes out of a call's terminal is a matter of contacts and wires, not of the program.
NOT_OF_FIRMWARE = {"backfeed"}


@pytest.mark.slow
def test_a_good_board_passes_it(tmp_path: Path) -> None:
    passed: set[str] = set()
    for profile, procedure in GOOD:
        answer = run_board(profile, sim(), tmp_path, "--procedure", procedure)
        assert answer.code == 0, answer.plain["reason"]
        passed |= {f["requirement"] for f in answer.plain["findings"]}
    assert passed == set(REQUIREMENTS) - ONLY_FAILS


def test_a_fault_of_the_simulated_board_fails_it() -> None:
    entries = [
        entry
        for name in (*shipped(), *TRIALS)
        for procedure in ("acceptance", "full", "levels")
        for entry in catalogue(load(name).parameters, procedure)
    ]
    assert {e.expected[0] for e in entries if e.expected is not None} == set(REQUIREMENTS)


def test_a_mistake_in_firmware_fails_it() -> None:
    assert {d.requirement for d in defects() if d.procedure} == set(REQUIREMENTS) - NOT_OF_FIRMWARE
