"""Faulty boards under random sequences: what the judge says where the oracle says that the fault is visible.

    python -m tests.performance.visible [BOARDS [FIRST_SEED [PROCESSES]]]
    python -m tests.performance.visible --good [BOARDS [FIRST_SEED [PROCESSES]]]
    python -m tests.performance.visible --show SEED

Columns of the table, per fault: boards; visible to the oracle; of these the share with a failed finding
under a requirement that the fault breaks (`right`), under another with which the sequence does not tell it apart, since a
board that breaks only that one explains it as well to the oracle (`either`), under any other (`other`), without one (`none`), and those whose
failed findings all lie more than two steps from the moment at which the oracle finds no board left (`apart`);
boards on which no output ever moved are left out (`silent`).  Not visible: boards that failed all the same
(`failed`: nearer than the margin).  `inconclusive`: boards with a finding inside the guard band.  `--good`: the same boards without
their fault; nothing may fail, and the oracle must explain every one.
"""

from __future__ import annotations

import multiprocessing
import os
import sys
import time
from collections import Counter

from tests.judge.oracle.decide import explainable
from tests.judge.oracle_cases import Answers, book_of, told
from tests.judge.visible import ROUNDINGS, answered, either, judged, names_it, run, seen, visible

COLUMNS = (
    "boards",
    "silent",
    "visible",
    "right",
    "either",
    "other",
    "none",
    "apart",
    "failed",
    "inconclusive",
)


def one(seed: int) -> tuple[str, list[str], str | None]:
    """The fault, the columns in which this board counts, and what went wrong."""
    board = run(seed)
    judgement = judged(board)
    name = board.flaw.kind
    if not answered(board):
        return name, ["boards", "silent"], None
    failed = [f for f in judgement.findings if f.verdict == "fail"]
    columns = ["boards"] + (
        ["inconclusive"] if any(f.verdict == "inconclusive" for f in judgement.findings) else []
    )
    step = visible(board)
    if step is None:
        return name, [*columns, "failed"] if failed else columns, None
    came = "right" if names_it(board, failed) else "other" if failed else "none"
    if came == "other" and either(board, failed):
        came = "either"
    columns += ["visible", came]
    if failed and all(abs(f.at_s - step) > 2 for f in failed):
        columns.append("apart")
    if came == "right":
        return name, columns, None
    said = ", ".join(f"{f.requirement} {f.output or ''} {f.kind}" for f in failed[:3]) or "nothing"
    return (
        name,
        columns,
        f"seed {seed}, {board.family.name}, {board.flaw.name}, step {step}: {came}, failed: {said}",
    )


def good(seed: int) -> tuple[str, list[str], str | None]:
    """The same board without its fault."""
    board = run(seed, flawed=False)
    failed = [f.requirement for f in judged(board).findings if f.verdict == "fail"]
    book = book_of(board.parameters)
    steps = [explainable(seen(board, share), book) for share in ROUNDINGS]
    wrong = failed or any(step is not None for step in steps)
    text = f"seed {seed}, {board.family.name}: judge failed {failed}, oracle {steps}" if wrong else None
    return "good", ["boards"] + (["failed"] if failed else []), text


def show(seed: int) -> None:
    board = run(seed)
    case = seen(board, 1 / 2)
    print(board.family.name, board.flaw.name, "visible at step", visible(board))
    print(told(Answers(board.parameters, case, "", True, True), case))
    print(
        "outage",
        board.stand.outage,
        [e for e in board.stand.reported() if e[1].startswith(("out.", "alarm."))],
    )
    for f in judged(board).findings:
        print(f.verdict, f.requirement, f.output or "", f.kind or "", round(f.at_s, 3), f.text)


def table(rows: dict[str, Counter[str]]) -> str:
    """One line per fault, and their sum."""
    rows = {**dict(sorted(rows.items())), "all": sum(rows.values(), Counter())}
    lines = [f"{'fault':36}" + "".join(f"{c:>13}" for c in COLUMNS)]
    for name, counts in rows.items():
        lines.append(f"{name:36}" + "".join(f"{counts[c]:>13}" for c in COLUMNS))
    every = rows["all"]
    shown = max(1, every["visible"])
    lines.append(
        f"of {every['visible']} visible: {100 * every['right'] / shown:.2f} % right, "
        f"{100 * every['either'] / shown:.2f} % either, "
        f"{100 * every['other'] / shown:.2f} % other, {100 * every['none'] / shown:.2f} % without a failed finding; "
        f"something inconclusive on {100 * every['inconclusive'] / max(1, every['boards']):.1f} % of boards"
    )
    return "\n".join(lines)


def main() -> int:
    words = sys.argv[1:]
    if words[:1] == ["--show"]:
        show(int(words[1]))
        return 0
    work = good if words[:1] == ["--good"] else one
    numbers = [int(w) for w in words if not w.startswith("-")]
    boards, first, processes = (*numbers, *(2_000, 0, os.cpu_count() or 1)[len(numbers) :])
    rows: dict[str, Counter[str]] = {}
    wrong: list[str] = []
    began = time.perf_counter()
    with multiprocessing.Pool(processes) as pool:
        for name, columns, text in pool.imap_unordered(work, range(first, first + boards), chunksize=20):
            rows.setdefault(name, Counter()).update(columns)
            wrong += [text] if text else []
    print("\n".join(sorted(wrong)))
    print(table(rows))
    print(
        f"{boards} boards in {time.perf_counter() - began:.0f} s with {processes} processes; {len(wrong)} listed above"
    )
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
