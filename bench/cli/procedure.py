"""`mitbench procedure list | show`: what a procedure does and proves, before anything is energised."""

from __future__ import annotations

from typing import Any

import click


@click.group()
def procedure() -> None:
    """List procedures, or show what one does and proves."""


@procedure.command("list")
def list_procedures() -> None:
    """List the built-in procedures."""
    from bench.procedure import built_in

    names = built_in()
    width = max(map(len, names))
    for name, about in names.items():
        print(f"{name:<{width}}  {about}")


@procedure.command()
@click.argument("profile")
@click.argument("name")
def show(profile: str, name: str) -> None:
    """Show the steps of a procedure for a board, what is expected when, and what it will prove.

    PROFILE is a file or the name of a shipped profile, NAME a built-in
    procedure or a file. Nothing is energised: the steps are carried out on
    paper with a board that keeps to the middle of its limits.
    """
    from bench.judge.judge import judge_trace
    from bench.procedure import load as load_procedure
    from bench.profile import load
    from bench.run.dry_run import dry_run

    board = load(profile)
    steps = load_procedure(name, board.parameters)
    _print(steps.name, board.name, dry_run(steps, board, judge_trace))


def _print(name: str, board: str, told: dict[str, Any]) -> None:
    from bench.report.wording import clock_words, duration_words, limits_words

    print(f"Procedure {name} for {board}: {duration_words(told['board_seconds'])} of board time.")
    print("\nSteps, and when each begins on a board in the middle of its limits:")
    part = ""
    for step in told["steps"]:
        if step["part"] != part:
            part = step["part"]
            print(f"  {part}")
        print(f"  {clock_words(step['at_s'], tenths=True):>8}  {step['text']}")
    print("\nExpected windows, from each stimulus or change:")
    for window in told["windows"]:
        named = window["requirement"] + (f" {window['output']}" if window["output"] else "")
        print(
            f"  {clock_words(window['at_s'], tenths=True):>8}  {named:<14} {limits_words(window['limits'], window['unit'])} {window['unit']}"
        )
    _list("Will prove", told["proves"])
    _list("Will not prove", told["unproven"])
    _list("Too narrow to prove on this bench", told["too_narrow"])


def _list(title: str, lines: list[str]) -> None:
    if lines:
        print(f"\n{title}:")
        for line in lines:
            print(f"  {line}")
