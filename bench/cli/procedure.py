"""`mitbench procedure list | show`: what a procedure does and proves, before anything is energised."""

from __future__ import annotations

from typing import Any

import click

from bench.cli.options import repeat_option


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
@repeat_option
def show(profile: str, name: str, repeat: int | None) -> None:
    """Show the steps of a procedure for a board, what is expected when, and what it will prove.

    PROFILE is a file or the name of a shipped profile, NAME a built-in
    procedure or a file. Nothing is energised: the steps are carried out on
    paper with a board that keeps to the middle of its limits.
    """
    from bench.cli.trying import procedure_for
    from bench.judge.judge import judge_trace
    from bench.profile import load
    from bench.run.dry_run import dry_run

    board = load(profile)
    steps = procedure_for(board, name, repeat)
    _print(steps.name, board.name, dry_run(steps, board, judge_trace))
    _list("Cannot exercise", list(steps.left_out))


def _print(name: str, board: str, told: dict[str, Any]) -> None:
    from bench.report.wording import clock_words, duration_words

    print(f"Procedure {name} for {board}: {duration_words(told['board_seconds'])} of board time.")
    print("\nSteps, and when each begins on a board in the middle of its limits:")
    part = ""
    for step in told["steps"]:
        if step["part"] != part:
            part = step["part"]
            print(f"  {part}")
        print(f"  {clock_words(step['at_s'], tenths=True):>8}  {step['text']}")
    _list("Expected windows, from the stimulus or change before", _windows(told["windows"]))
    _list("Will prove", _by_requirement(told["proves"]))
    _list("Will not prove", told["unproven"])
    _list("Too narrow to prove on this bench", told["too_narrow"])


def _list(title: str, lines: list[str]) -> None:
    if lines:
        print(f"\n{title}:")
        for line in lines:
            print(f"  {line}")


def _windows(windows: list[dict[str, Any]]) -> list[str]:
    """A line for each requirement with the same limits: which outputs, how often, the limits."""
    from bench.report.wording import limits_words

    alike: dict[tuple[str, str], list[str]] = {}
    for window in windows:
        limits = f"{limits_words(tuple(window['limits']), window['unit'])} {window['unit']}"
        alike.setdefault((window["requirement"], limits), []).append(window["output"] or "whole board")
    return [
        f"{requirement:<10} {', '.join(dict.fromkeys(outputs)):<12} {limits}"
        + (f" ({len(outputs)} times)" if len(outputs) > 1 else "")
        for (requirement, limits), outputs in alike.items()
    ]


def _by_requirement(names: list[str]) -> list[str]:
    """`follow:Y`, `follow:W` as one line `follow Y, W`."""
    outputs: dict[str, list[str]] = {}
    for name in names:
        requirement, _, output = name.partition(":")
        outputs.setdefault(requirement, []).extend([output] if output else [])
    return [f"{requirement:<12} {', '.join(found)}".rstrip() for requirement, found in outputs.items()]
