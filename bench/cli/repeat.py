"""`--repeat N`, for the commands that take a procedure."""

from __future__ import annotations

import click

repeat_option = click.option(
    "--repeat",
    type=click.IntRange(2, 100),
    metavar="N",
    help="How often the procedure timing measures each timing, 2 to 100; 5 if left out.",
)
