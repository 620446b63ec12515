"""Many seeded simulated boards through the procedure levels; prints how well their true levels were found.

    python -m tests.performance.levels                    500 boards on the worst bench there may be
    python -m tests.performance.levels --over sim         500 boards over sim://, the whole command each time
    python -m tests.performance.levels --boards 5000 --first 1000

Wanted: the true level within the stated expanded uncertainty in at least 93 %, U at most 1 %LFL, the mean error at
most a fifth of U, and no good board failed.  `stand`: read-backs off by up to their bound, each anew, clocks off
and drifting.  `sim`: the simulated fixture's own errors, through its serial language.
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
import sys
import tempfile
from collections import Counter
from collections.abc import Callable
from functools import partial
from pathlib import Path

from bench.simulated.board import Board
from tests.boards import furnace
from tests.end_to_end.command import run_board, sim
from tests.procedure.level_boards import Found, against_truth, level_run, share


def on_the_stand(draw: str, seed: int) -> tuple[str, list[Found]]:
    judgement = level_run(furnace(), seed, draw)
    return judgement.verdict, list(against_truth(judgement, furnace(), seed, draw))


def over_sim(draw: str, seed: int) -> tuple[str, list[Found]]:
    parameters = furnace()
    with tempfile.TemporaryDirectory() as folder:
        answer = run_board(
            parameters.name, sim(seed=seed, draw=draw), Path(folder), "--procedure", "levels"
        ).plain
    sensor = parameters.sensors[0]
    truly = dict(
        zip(("trip", "clear"), Board(parameters, seed=seed, draw=draw).switching_uv("1"), strict=True)
    )
    found = [
        Found(
            seed,
            level["what"],
            sensor.level_at(truly[level["what"]]),
            level["value"]["%LFL"],
            level["uncertainty"]["%LFL"],
        )
        for level in answer["levels"]
        if level["what"] in truly
    ]
    return str(answer["verdict"]), found


HOW: dict[str, Callable[[str, int], tuple[str, list[Found]]]] = {"stand": on_the_stand, "sim": over_sim}


def main() -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--boards", type=int, default=500)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--over", choices=HOW, default="stand")
    parser.add_argument("--draw", choices=("inside", "anywhere"), default="inside")
    asked = parser.parse_args()
    verdicts: Counter[str] = Counter()
    found: list[Found] = []
    with multiprocessing.Pool(os.cpu_count()) as pool:
        seeds = range(asked.first, asked.first + asked.boards)
        for verdict, some in pool.imap_unordered(partial(HOW[asked.over], asked.draw), seeds, chunksize=8):
            verdicts[verdict] += 1
            found += some
    print(f"{asked.boards} boards, drawn {asked.draw}, over {asked.over}: {dict(verdicts)}")
    good = verdicts["fail"] == 0
    for what in ("trip", "clear"):
        told = share(found, what)
        print(
            f"{what}: found on {told.boards}; within U {100 * told.covered:.1f} %; U mean {told.mean_u:.3f}, largest "
            f"{told.largest_u:.3f} %LFL; mean error {told.bias:+.4f} %LFL, U/5 is {told.mean_u / 5:.3f}"
        )
        good = good and told.covered >= 0.93 and told.largest_u <= 1 and abs(told.bias) <= told.mean_u / 5
    print("as wanted" if good else "NOT as wanted")
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
