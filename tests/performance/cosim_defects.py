"""Every defect of the reference board, as an image, tested by the command over the co-simulation.

    python -m tests.performance.cosim_defects [--seed N] [--only NAME …]

Each row of firmware_ref/board/defects.csv that names a procedure must fail by
its requirement, as the first failed finding or in the `also` of one.  The
sound image must pass on both shipped profiles first.  Exit code 0 if all do.
"""

from __future__ import annotations

import argparse
import contextlib
import io
import json
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from tests.cosim import command, toolchain
from tests.cosim.wiring import rows

PROFILES = ("invented-split-furnace", "invented-air-handler")


def answer(
    profile: str, out: Path, *, procedure: str = "acceptance", defect: str = "", seed: int = 0
) -> dict[str, Any]:
    """The JSON of one run; `procedure`: a built-in one, or the name of one in the firmware's folder."""
    named = toolchain.BOARD / "procedures" / f"{procedure}.yaml"
    url = f"cosim://?profile={profile}&seed={seed}" + (f"&defect={defect}" if defect else "")
    said = io.StringIO()
    with contextlib.redirect_stdout(said):
        command.mitbench(
            [
                *("run", profile, "--json", "--out", str(out), "--fixture", url),
                *("--procedure", str(named) if named.is_file() else procedure),
            ]
        )
    result: dict[str, Any] = json.loads(said.getvalue())
    return result


def failed(judged: dict[str, Any]) -> list[tuple[str, str | None]]:
    """(requirement, output) of the first failed finding and of what it names in `also`."""
    first = next((f for f in judged["findings"] if f["verdict"] == "fail"), None)
    if first is None:
        return []
    also = [a["requirement"] if isinstance(a, dict) else str(a) for a in first["also"]]
    return [(first["requirement"], first["output"]), *[(name, None) for name in also]]


def fits(row: dict[str, str], judged: dict[str, Any]) -> bool:
    found = failed(judged)
    outputs = row["output"].split()
    if not found or judged["verdict"] != "fail":
        return False
    if found[0][0] == row["requirement"]:
        return not outputs or found[0][1] in outputs
    return any(row["requirement"] in name.split() for name, _ in found[1:])


def main() -> int:
    options = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    options.add_argument("--seed", type=int, default=0)
    options.add_argument("--only", nargs="*")
    asked = options.parse_args()
    lacks = toolchain.missing()
    if lacks:
        sys.exit(f"The co-simulation cannot be built here: {lacks}.")
    bad = 0
    with tempfile.TemporaryDirectory() as folder:
        for profile in PROFILES if asked.only is None else ():
            began = time.process_time()
            judged = answer(profile, Path(folder), seed=asked.seed)
            spent = time.process_time() - began
            bad += judged["verdict"] != "pass"
            print(f"{profile}: {judged['verdict']}, {judged['reason']}; {judged['board_seconds']:.0f} s of board "
                  f"time in {spent:.1f} s of processor time", flush=True)  # fmt: skip
        for row in rows(toolchain.BOARD / "defects.csv"):
            if asked.only is not None and row["name"] not in asked.only:
                continue
            if not row["procedure"]:
                print(f"{row['name']}: no procedure of a bench shows it")
                continue
            judged = answer(
                row["profile"],
                Path(folder),
                procedure=row["procedure"],
                defect=row["name"],
                seed=asked.seed,
            )
            right = fits(row, judged)
            bad += not right
            found = failed(judged)
            print(f"{row['name']}: {'as tabled' if right else 'NOT AS TABLED'}: {judged['verdict']}"
                  f" by {found[0] if found else judged['reason']}, tabled {row['requirement']} {row['output']}",
                  flush=True)  # fmt: skip
    print(f"{bad} not as they should be" if bad else "all as they should be")
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
