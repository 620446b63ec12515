"""Judge against oracle on many short cases: prints counts, both directions of disagreement and every false fail.

    python tests/performance/oracle_agreement.py [--cases 20000] [--first 0] [--processes N]

The cases are shared out among the families of cases.  A *false fail* is a case that a board
can explain and the judge fails; where the judge *allows* what no board can do, it is only too lenient.
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
import sys
import time
from collections import Counter
from pathlib import Path

ROOT = Path(__file__).parent.parent.parent
sys.path.insert(0, str(ROOT))

from tests.judge.oracle_cases import FAMILIES, answers, smallest, told  # noqa: E402

_WORDS = {
    (True, True): "both explain",
    (False, False): "neither explains",
    (True, False): "FALSE FAIL",
    (False, True): "too lenient",
}


def one(job: tuple[int, int]) -> tuple[str, int, str, str, str | None]:
    """(family, seed) to family, seed, kind, answer, and the smallest case if they disagree."""
    family, seed = FAMILIES[job[0]], job[1]
    found = answers(family, seed)
    text = None if found.agree else told(found, smallest(found))
    return family.name, seed, found.kind, _WORDS[found.explainable, found.judge_allows], text


def main() -> int:
    options = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    options.add_argument("--cases", type=int, default=20_000, help="how many; default %(default)s")
    options.add_argument("--first", type=int, default=0, help="first seed; default %(default)s")
    options.add_argument(
        "--processes", type=int, default=os.cpu_count() or 1, help="how many at once; default: one per core"
    )
    asked = options.parse_args()
    each = -(-asked.cases // len(FAMILIES))
    jobs = [(f, seed) for seed in range(asked.first, asked.first + each) for f in range(len(FAMILIES))]
    counts: Counter[tuple[str, str]] = Counter()
    kinds: Counter[tuple[str, str]] = Counter()
    apart: list[tuple[str, str, int, str]] = []
    began = time.perf_counter()
    with multiprocessing.Pool(asked.processes) as pool:
        for family, seed, kind, answer, text in pool.imap_unordered(one, jobs, chunksize=20):
            counts[family, answer] += 1
            kinds[kind, answer] += 1
            if text is not None:
                apart.append((answer, family, seed, f"--- {family}, seed {seed}, {kind}: {answer}\n{text}"))
    print("\n".join(text for *_, text in sorted(apart)))
    for title, rows in (("family", counts), ("kind", kinds)):
        print(f"{title:20}" + "".join(f"{word:>18}" for word in _WORDS.values()))
        for name in sorted({name for name, _ in rows}):
            print(f"{name:20}" + "".join(f"{rows[name, word]:>18}" for word in _WORDS.values()))
    false = sum(answer == "FALSE FAIL" for answer, *_ in apart)
    share = 100 * (1 - len(apart) / len(jobs))
    print(
        f"{len(jobs)} cases in {time.perf_counter() - began:.0f} s: {share:.2f} % agree; "
        f"{false} false fails, {len(apart) - false} too lenient, all listed above"
    )
    return 1 if false else 0


if __name__ == "__main__":
    sys.exit(main())
