"""`mitbench judge`: a stored trace judged again, without the board."""

from __future__ import annotations

import sys
from pathlib import Path

import click


@click.command()
@click.argument("trace", type=click.Path(path_type=Path))
@click.option("--profile", metavar="PROFILE", help="Judge by this profile instead of the one in the trace.")
@click.option(
    "--decision",
    type=click.Choice(["guarded", "simple"]),
    help="guarded: a pass is inside its limit by the uncertainty; simple: the limit itself decides.",
)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def judge(trace: Path, profile: str | None, decision: str | None, as_json: bool) -> int:
    """Judge a stored trace again.

    TRACE is a file that `mitbench run` left, or one written by hand. The exit
    code is that of a run; a trace without its end never passes.
    """
    from bench.cli.answer import as_object, print_json
    from bench.judge.judge import judge_trace
    from bench.profile import from_data, load
    from bench.report.terminal import show_result
    from bench.trace.file import read_trace

    stored = read_trace(trace)
    by = load(profile) if profile else from_data(dict(stored.header.profile), str(trace))
    judgement = judge_trace(stored, by.parameters, decision)
    if as_json:
        print_json(as_object(stored.header, judgement, trace))
    else:
        show_result(sys.stdout, stored.header, judgement, by.parameters, [("trace", str(trace))])
    return judgement.exit_code
