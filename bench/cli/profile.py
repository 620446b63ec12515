"""`mitbench profile list | check | schema`."""

from __future__ import annotations

import sys

import click


@click.group()
def profile() -> None:
    """List and check profiles, or print their schema."""


@profile.command("list")
@click.option("--json", "as_json", is_flag=True, help="Print a JSON list.")
def list_profiles(as_json: bool) -> None:
    """List the shipped profiles."""
    from bench.cli.answer import print_json
    from bench.profile import load, shipped

    rows = [(name, load(name)) for name in shipped()]
    if as_json:
        print_json([{"name": name, "about": p.data.get("about", ""), "sha256": p.sha256} for name, p in rows])
        return
    width = max(len(name) for name, _ in rows)
    for name, p in rows:
        print(f"{name:<{width}}  {p.data.get('about', '')}".rstrip())


@profile.command()
@click.argument("files", nargs=-1, required=True, metavar="FILE...")
def check(files: tuple[str, ...]) -> int:
    """Check profiles: every mistake with its file, line and key.

    Warnings name what a published limit or this bench cannot agree with, and
    what the built-in acceptance cannot prove on any board of the profile. Exit
    code 0 without errors (warnings allowed), 2 otherwise.
    """
    from bench.cli.provable import never_proven
    from bench.profile import check as check_file

    wrong = False
    for file in files:
        report = check_file(file, never_proven)
        for warning in report.warnings:
            print(f"{warning}")
        for error in report.errors:
            print(f"{error}", file=sys.stderr)
        if report.errors:
            wrong = True
        else:
            warned = f", {len(report.warnings)} to look at" if report.warnings else ""
            print(f"{file}: can be used{warned}.")
    return 2 if wrong else 0


@profile.command()
def schema() -> None:
    """Print the JSON Schema of a profile, with which editors complete and check it."""
    from bench.cli.answer import print_json
    from bench.profile import schema as profile_schema

    print_json(profile_schema())
