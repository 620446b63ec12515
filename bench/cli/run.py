"""`mitbench run`: one board, tested and judged."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from bench.cli.options import out_option, repeat_option


@click.command()
@click.argument("profile")
@click.option(
    "--procedure",
    default="acceptance",
    show_default=True,
    metavar="NAME|FILE",
    help="What to do with the board; see: mitbench procedure list.",
)
@repeat_option
@click.option(
    "--fixture",
    "url",
    metavar="URL",
    help="Where the fixture is: a serial port, socket://HOST:PORT, or sim:// for a simulated one. "
    "Left out, one is looked for on the serial ports.",
)
@click.option("--unit", metavar="TEXT", help="Which board this is, for example its serial number.")
@click.option("--operator", metavar="TEXT", help="Who runs the test.")
@out_option("Folder for the trace, the page and results.csv.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object and nothing else.")
def run(
    profile: str,
    procedure: str,
    repeat: int | None,
    url: str | None,
    unit: str | None,
    operator: str | None,
    out: Path,
    as_json: bool,
) -> int:
    """Test one board and judge it.

    PROFILE is a file or the name of a shipped profile. The exit code is 0 for
    pass, 1 for fail, 3 for inconclusive, 4 for a fault of the bench, and 130 if
    you stopped it with Ctrl-C. Everything is opened in every case.
    """
    from bench.cli.answer import as_object, print_json
    from bench.cli.job import Order, carry_out
    from bench.cli.watching import for_people, for_programs
    from bench.profile import load
    from bench.report.terminal import show_result

    board = load(profile)
    order = Order(board, procedure, url, out, unit, operator, repeat)
    result = carry_out(order, for_programs if as_json else for_people(board.parameters))
    judgement = result.judgement
    if as_json:
        print_json(as_object(result.header, judgement, result.trace, result.repeated))
    elif result.trace is not None:
        show_result(
            sys.stdout, result.header, judgement, board.parameters, result.files, repeated=result.repeated
        )
    if judgement.verdict in ("bench-fault", "stopped") and (as_json or result.trace is None):
        print(f"mitbench: {judgement.reason}", file=sys.stderr)
    for sentence in result.told:
        print(f"mitbench: {sentence}", file=sys.stderr)
    return judgement.exit_code
