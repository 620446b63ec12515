"""Every byte of a short run damaged in every way, both directions, on all cores: the verdicts.

    python -m tests.performance.damage [EVERY]

EVERY (default 1) takes every so many positions.
"""

from __future__ import annotations

import os
import sys
import tempfile
from collections import Counter
from concurrent.futures import ProcessPoolExecutor

from tests.end_to_end.damage import BOARDS, ShortRun, damages


def share(faults: tuple[str, ...], every: int, part: int, parts: int) -> Counter[str]:
    """Verdicts of one share of the damages."""
    with tempfile.TemporaryDirectory() as folder:
        run = ShortRun(folder, faults)
        _, counted = run.verdict(None)
        return Counter(run.verdict(d)[0] for d in damages(counted, every)[part::parts])


def main() -> int:
    every = int(sys.argv[1]) if len(sys.argv) > 1 else 1
    parts, wrong = os.cpu_count() or 1, 0
    with ProcessPoolExecutor(parts) as pool:
        for faults in BOARDS:
            seen: Counter[str] = Counter()
            for found in pool.map(share, [faults] * parts, [every] * parts, range(parts), [parts] * parts):
                seen += found
            clean, total = "fail" if faults else "pass", sum(seen.values())
            wrong += total - seen[clean] - seen["bench-fault"]
            print(
                f"{faults[0] if faults else 'good board':<16} {total} damages: {dict(seen)}; {seen[clean] / total:.2%} clean"
            )
    print(f"{wrong} verdicts changed")
    return int(wrong > 0)


if __name__ == "__main__":
    sys.exit(main())
