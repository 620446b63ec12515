"""`mitbench demo`: three simulated boards, one good and two broken, each announced before it is tested."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from bench.cli.options import out_option

if TYPE_CHECKING:
    from bench.cli.job import Result
    from bench.judge.findings import Judgement


@dataclass(frozen=True, slots=True)
class Board:
    """One invented board of the demo; `fault` None is a good one.  `requirement`, `output`: what must fail first."""

    unit: str
    said: str
    fault: str | None = None
    requirement: str | None = None
    output: str | None = None


PROFILE = "invented-split-furnace"
BOARDS = (
    Board("demo-1", "a good board"),
    Board("demo-2", "its contact W is welded", "stuck-on:W", "trip", "W"),
    Board("demo-3", "its hold is too short", "hold-short", "hold"),
)


@click.command()
@out_option("Folder for the traces, the pages and results.csv.")
def demo(out: Path) -> int:
    """Test three simulated boards: one good, two broken.

    The exit code is 0 if each ended as announced, 1 if one did not.
    """
    from bench.cli.job import Order, carry_out
    from bench.cli.watching import for_programs
    from bench.profile import load
    from bench.report.cautions import CAUTIONS, SIMULATED

    print(f"Three boards of the invented profile {PROFILE} ({SIMULATED}).")
    profile = load(PROFILE)
    as_announced = True
    for board in BOARDS:
        url = "sim://" if board.fault is None else f"sim://?fault={board.fault}"
        result = carry_out(Order(profile, "acceptance", url, out, board.unit, "demo"), for_programs)
        for line in _said(board, result):
            print(line)
        as_announced = as_announced and _as_announced(board, result.judgement)
    print("\n" + "\n".join(CAUTIONS))
    return 0 if as_announced else 1


def _as_announced(board: Board, judgement: Judgement) -> bool:
    failed = [(f.requirement, f.output) for f in judgement.findings if f.verdict == "fail"]
    if board.fault is None:
        return judgement.verdict == "pass"
    return judgement.verdict == "fail" and failed[0] == (board.requirement, board.output)


def _said(board: Board, result: Result) -> Iterator[str]:
    from bench.report.wording import VERDICTS, duration_words, sentence

    judgement = result.judgement
    yield ""
    yield f"{board.unit}, {board.said}: {VERDICTS[judgement.verdict]}"
    failed = [f for f in judgement.findings if f.verdict == "fail"]
    if failed:
        yield f"  {failed[0].requirement}, {failed[0].output or 'whole board'}: {sentence(failed[0].text)}"
    else:
        yield f"  {sentence(judgement.reason)}"
    if not _as_announced(board, judgement):
        yield "  This is not what was announced."
    yield f"  {duration_words(judgement.board_seconds)} of board time; {dict(result.files).get('page', 'no page')}"
