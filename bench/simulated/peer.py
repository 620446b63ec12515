"""A simulated fixture with a board in it, put together from what a URL or a command line names."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from bench.errors import UsageError
from bench.fixture.channels import ChannelTable, load_channels
from bench.fixture.plug import load_plug
from bench.simulated.absent import NoBoard
from bench.simulated.board import Board
from bench.simulated.faults import parse
from bench.simulated.fixture import SimulatedFixture
from firmware_ref.parameters import Parameters


def simulated_fixture(
    parameters: Parameters,
    wiring: Mapping[str, int] | None = None,
    *,
    faults: Sequence[str] = (),
    seed: int = 0,
    draw: str = "inside",
    speed: str = "max",
    table: ChannelTable | None = None,
    plug: bool = False,
) -> SimulatedFixture:
    """The peer for `bench.link.peers.register` and `bench.simulated.serve`.

    `faults` as they are typed, the board's and the fixture's.  `wiring` None:
    every channel under its own name.  `plug`: the loop-back plug is in the
    board's place.  Raises UsageError, one sentence.
    """
    table = table or load_channels()
    parsed = [parse(text, parameters) for text in faults]
    of_board = [f for f in parsed if f.kind == "board"]
    if plug and of_board:
        raise UsageError(f"fault '{of_board[0].name}' is the board's, and the loop-back plug is in its place")
    board = NoBoard() if plug else Board(parameters, seed=seed, draw=draw, faults=of_board)
    return SimulatedFixture(
        board, parameters, wiring if wiring is not None else table.wiring, table,
        seed=seed, faults=[f for f in parsed if f.kind == "fixture"], speed=speed,
        plug=load_plug(table) if plug else None,
    )  # fmt: skip
