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
    full, levels = (
        [e for e in catalogue(board.parameters, name) if e.kind == "board"] for name in ("full", "levels")
    )
    if as_json:
        print_json(
            [
                {
                    "name": entry.name,
                    "kind": entry.kind,
                    "about": entry.about,
                    "procedure": entry.procedure if entry.kind == "board" else None,
                    "expected": None
                    if entry.expected is None
                    else dict(zip(("requirement", "output", "kind"), entry.expected, strict=True)),
                }
                for entry in (*entries, *full, *levels)
            ]
        )
        return
    width = max(len(entry.name) for entry in (*entries, *full, *levels))
    for title, some in (
        (f"Faults of the board {board.name}", [e for e in entries if e.kind == "board"]),
        ("Faults of the board that acceptance passes and full finds", full),
        ("Faults of the board that acceptance passes and levels finds", levels),
        ("Faults of the fixture", [e for e in entries if e.kind == "fixture"]),
    ):
        if some:
            print(f"{title}:")
        for entry in some:
            print(f"  {entry.name:<{width}}  {entry.about}")
    print("A size may follow, a quantity beyond the limit: hold-short=20 s")
