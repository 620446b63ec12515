"""Every defect of the reference board, as an image, tested by the command over the co-simulation.

    python -m tests.performance.cosim_defects [--seed N] [--only NAME …]

Each row of firmware_ref/board/defects.csv that names a procedure must fail by
its requirement, as the first failed finding or in its `also`.  The
sound image must pass on both shipped profiles first.  Exit code 0 if all do.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from pathlib import Path

from tests.cosim import toolchain
from tests.cosim.command import in_the_circuit
from tests.cosim.three import PROFILES
from tests.end_to_end.command import Answer, run_board
from tests.firmware_ref.board.core import Defect, defects


def answered(
    profile: str, out: Path, *, procedure: str = "acceptance", defect: str = "", seed: int = 0
) -> Answer:
    """One run; `procedure`: a built-in one, or the name of one in the firmware's folder."""
    named = toolchain.BOARD / "procedures" / f"{procedure}.yaml"
    url = f"cosim://?profile={profile}&seed={seed}" + (f"&defect={defect}" if defect else "")
    with in_the_circuit():
        return run_board(profile, url, out, "--procedure", str(named) if named.is_file() else procedure)


def fits(defect: Defect, answer: Answer) -> bool:
    """Whether the run failed, and by what is tabled."""
    if answer.plain["verdict"] != "fail" or not answer.failed:
        return False
    first = answer.failed[0]
    if first["requirement"] == defect.requirement:
        return defect.output is None or first["output"] in defect.output.split()
    return defect.requirement in first["also"]


def main() -> int:
    options = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    options.add_argument("--seed", type=int, default=0)
    options.add_argument("--only", nargs="*")
    asked = options.parse_args()
    toolchain.needed()
    bad = 0
    with tempfile.TemporaryDirectory() as folder:
        for profile in PROFILES if asked.only is None else ():
            began = time.process_time()
            judged = answered(profile, Path(folder), seed=asked.seed).plain
            spent = time.process_time() - began
            bad += judged["verdict"] != "pass"
            print(f"{profile}: {judged['verdict']}, {judged['reason']}; {judged['board_seconds']:.0f} s of board "
                  f"time in {spent:.1f} s of processor time", flush=True)  # fmt: skip
        for defect in defects():
            if asked.only is not None and defect.name not in asked.only:
                continue
            if not defect.procedure:
                print(f"{defect.name}: no procedure of a bench shows it")
                continue
            answer = answered(
                defect.profile,
                Path(folder),
                procedure=defect.procedure,
                defect=defect.name,
                seed=asked.seed,
            )
            if not answer.out:  # the bench or the simulation could not be used
                bad += 1
                print(f"{defect.name}: {answer.err.strip()}", flush=True)
                continue
            right = fits(defect, answer)
            bad += not right
            by = answer.first() if answer.failed else answer.plain["reason"]
            print(f"{defect.name}: {'as tabled' if right else 'NOT AS TABLED'}: {answer.plain['verdict']}"
                  f" by {by}, tabled {defect.requirement} {defect.output or ''}",
                  flush=True)  # fmt: skip
    print(f"{bad} not as they should be" if bad else "all as they should be")
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
