"""`mitbench judge`: a stored trace judged again, without the board."""

from __future__ import annotations

import math
import sys
from pathlib import Path

import click

from bench.errors import TraceError, UsageError

RULES = ("guarded", "simple")


@click.command()
@click.argument("trace", type=click.Path(path_type=Path))
@click.option("--profile", metavar="PROFILE", help="Judge by this profile instead of the one in the trace.")
@click.option(
    "--decision",
    type=click.Choice(RULES),
    help="guarded: a pass is inside its limit by the uncertainty; simple: the limit itself decides.",
)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
@click.option(
    "--explain",
    "moment_s",
    type=float,
    metavar="SECONDS",
    help="Tell what was possible at this moment of the run, and why what came next was allowed or not.",
)
@click.option(
    "--against",
    metavar="PROFILE|RULE",
    help="Show this judgement beside one by another profile, or by the rule guarded or simple.",
)
@click.option("--budget", is_flag=True, help="Show the uncertainty of each measurement as a table.")
def judge(
    trace: Path,
    profile: str | None,
    decision: str | None,
    as_json: bool,
    moment_s: float | None,
    against: str | None,
    budget: bool,
) -> int:
    """Judge a stored trace again.

    TRACE is a file that `mitbench run` left, or one written by hand. The exit
    code is that of a run; a trace without its end never passes.
    """
    from bench.cli.answer import as_object, print_json
    from bench.judge.judge import judge_trace
    from bench.profile import from_data, load
    from bench.report.repeated import repeated
    from bench.report.terminal import show_result
    from bench.trace.file import read_trace

    if moment_s is not None and not math.isfinite(moment_s):
        raise UsageError(f"--explain {moment_s:g}: is no moment; write seconds from the start, such as 412.5")
    if sum((moment_s is not None, against is not None, budget, as_json)) > 1:
        raise UsageError(
            "--explain, --against, --budget and --json each print something else; write one of them"
        )
    stored = read_trace(trace)
    by = load(profile) if profile else from_data(dict(stored.header.profile), str(trace))
    recorded = stored.header.profile_sha256
    if profile is None and recorded and recorded != by.sha256:
        raise TraceError(
            f"{trace}:1: profile: is not the one the run was made with, its fingerprint differs; "
            "name the profile to judge by with --profile"
        )
    if moment_s is not None:
        from bench.judge.explain import explain

        print("\n".join(explain(stored, by.parameters, moment_s, decision)))
        return 0
    judgement = judge_trace(stored, by.parameters, decision)
    if against is not None:
        from bench.judge.compare import compare, lines

        rule = against if against in RULES else decision
        other = by if against in RULES else load(against)
        beside = judge_trace(stored, other.parameters, rule)
        names = (f"{by.name}, {judgement.decision}", f"{other.name}, {beside.decision}")
        print("\n".join(lines(compare(judgement, beside), *names)))
    elif budget:
        from bench.judge.judge import clock_of
        from bench.report.budget import budget_lines
        from bench.report.terminal import printable

        for line in budget_lines(judgement, clock_of(stored)):
            print(printable(line, sys.stdout))
    elif as_json:
        print_json(as_object(stored.header, judgement, trace, repeated(stored, judgement)))
    else:
        show_result(
            sys.stdout, stored.header, judgement, by.parameters, [("trace", str(trace))],
            repeated=repeated(stored, judgement),
        )  # fmt: skip
    return judgement.exit_code
