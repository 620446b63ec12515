"""`mitbench run` over the simulated fixture, with the reference board's firmware where the simulated board would be."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from unittest import mock

from tests.end_to_end.command import Answer, run_board, sim
from tests.firmware_ref.board.core import FIRMWARE, CoreBoard

ACCEPTANCE = "acceptance"


@contextmanager
def firmware(defect: str = "") -> Iterator[None]:
    """Simulated fixtures get the firmware as their board."""

    def make(parameters: object, *, seed: int = 0, **_: object) -> CoreBoard:
        return CoreBoard(parameters, seed=seed, defect=defect)  # type: ignore[arg-type]

    with mock.patch("bench.simulated.peer.Board", make):
        yield


def judged(
    profile: str, out: Path, *, defect: str = "", procedure: str = ACCEPTANCE, seed: int = 0
) -> Answer:
    """The answer of one run; `procedure`: a built-in one, or the name of one in the firmware's folder."""
    own = FIRMWARE / "procedures" / f"{procedure}.yaml"
    named = str(own) if own.is_file() else procedure
    with firmware(defect):
        return run_board(profile, sim(seed=seed), out, "--procedure", named)
