"""Simulated board, the firmware's core on this computer, and its image in the co-simulation: random procedures.

    python -m tests.performance.cosim_three [--procedures 100] [--first 0]

Nominal timings everywhere: the verdicts must be the same, and every edge
within 25 ms.  Exit code 0 if so.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from itertools import combinations
from pathlib import Path

from tests.cosim import toolchain
from tests.cosim.three import BOARDS, PROFILES, carried_out, furthest, random_procedure


def main() -> int:
    options = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    options.add_argument("--procedures", type=int, default=100)
    options.add_argument("--first", type=int, default=0)
    asked = options.parse_args()
    toolchain.needed()
    bad, edges, most = 0, 0, dict.fromkeys(combinations(BOARDS, 2), 0)
    for seed in range(asked.first, asked.first + asked.procedures):
        profile = PROFILES[seed % len(PROFILES)]
        with tempfile.TemporaryDirectory() as folder:
            procedure = Path(folder) / "procedure.yaml"
            procedure.write_text(random_procedure(seed), "utf-8")
            done = {board: carried_out(board, profile, procedure, Path(folder)) for board in BOARDS}
        edges += sum(len(found) for found in done["image"].edges.values())
        here = 0
        for pair in most:
            apart, wrong = furthest(done[pair[0]], done[pair[1]])
            here, most[pair] = max(here, apart), max(most[pair], apart)
            bad += bool(wrong)
            for sentence in wrong:
                print(f"procedure {seed} on {profile}, {pair[0]} and {pair[1]}: {sentence}", flush=True)
        print(f"procedure {seed}: {here / 1000:.1f} ms", flush=True)
    for pair, apart in most.items():
        print(f"{pair[0]} and {pair[1]}: at most {apart / 1000:.1f} ms apart")
    print(f"{asked.procedures} procedures, {edges} edges; {bad} pairs that differ")
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
