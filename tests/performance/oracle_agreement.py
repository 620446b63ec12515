"""Judge against oracle on many short cases, on all cores: prints counts and every disagreement.

    python -m tests.performance.oracle_agreement [CASES [FIRST_SEED]]

CASES (default 20000) are shared out among the families of cases.
"""

from __future__ import annotations

import multiprocessing
import sys
import time
from collections import Counter

from tests.judge.oracle_cases import FAMILIES, KNOWN, answers, smallest, told

_WORDS = {
    (True, True): "both: explainable",
    (False, False): "both: not explainable",
    (True, False): "JUDGE FAILS what the oracle explains",
    (False, True): "JUDGE ALLOWS what the oracle cannot explain",
}


def one(job: tuple[int, int]) -> tuple[int, int, str, str, str | None]:
    """(family, seed) to family, seed, kind, answer, and the smallest case if they disagree."""
    family, seed = FAMILIES[job[0]], job[1]
    found = answers(family, seed)
    text = None if found.agree else told(found, smallest(found))
    return job[0], seed, found.kind, _WORDS[found.explainable, found.judge_allows], text


def main() -> None:
    cases = int(sys.argv[1]) if len(sys.argv) > 1 else 20_000
    first = int(sys.argv[2]) if len(sys.argv) > 2 else 0
    each = -(-cases // len(FAMILIES))
    jobs = [(f, seed) for seed in range(first, first + each) for f in range(len(FAMILIES))]
    counts: Counter[tuple[str, str, str]] = Counter()
    apart: list[str] = []
    began = time.perf_counter()
    with multiprocessing.Pool() as pool:
        for n, seed, kind, answer, text in pool.imap_unordered(one, jobs, chunksize=20):
            family = FAMILIES[n].name
            counts[family, kind, answer] += 1
            if text is not None:
                known = "known" if (family, seed) in KNOWN else "NEW"
                apart.append(f"--- {family}, seed {seed} ({known}), {kind}: {answer}\n{text}")
    print("\n".join(sorted(apart)))
    for (family, kind, answer), count in sorted(counts.items()):
        print(f"{family:20} {kind:10} {answer:45} {count:7}")
    print(
        f"{len(jobs)} cases in {time.perf_counter() - began:.0f} s; {len(apart)} disagree, all listed above"
    )


if __name__ == "__main__":
    main()
