"""`mitbench faults`: what the simulated board and fixture can have."""

from __future__ import annotations

import click


@click.command()
@click.argument("profile", required=False)
@click.option("--json", "as_json", is_flag=True, help="Print a JSON list.")
def faults(profile: str | None, as_json: bool) -> None:
    """List the faults that the simulated board and fixture can have.

    PROFILE is a file or the name of a shipped profile; without one, the first
    shipped profile is taken. Which faults there are depends on it: a board
    without heat has no stuck W.
    """
    from bench.cli.answer import print_json
    from bench.profile import load, shipped
    from bench.simulated.faults import catalogue

    board = load(profile or shipped()[0])
    entries = catalogue(board.parameters)
    if as_json:
        print_json(
            [
                {
                    "name": entry.name,
                    "kind": entry.kind,
                    "about": entry.about,
                    "expected": None
                    if entry.expected is None
                    else dict(zip(("requirement", "output", "kind"), entry.expected, strict=True)),
                }
                for entry in entries
            ]
        )
        return
    width = max(len(entry.name) for entry in entries)
    for kind, title in (("board", f"Faults of the board {board.name}"), ("fixture", "Faults of the fixture")):
        print(f"{title}:")
        for entry in entries:
            if entry.kind == kind:
                print(f"  {entry.name:<{width}}  {entry.about}")
    print("A size may follow, a quantity beyond the limit: hold-short=20 s")
