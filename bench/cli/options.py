"""Options that several commands take."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click

_Command = TypeVar("_Command", bound=Callable[..., Any])

#: For the commands that take a procedure.
repeat_option = click.option(
    "--repeat",
    type=click.IntRange(2, 100),
    metavar="N",
    help="How often the procedure timing measures each timing, 2 to 100; 5 if left out.",
)


def out_option(about: str) -> Callable[[_Command], _Command]:
    """`--out DIR`; `about`: what the folder is for."""
    return click.option(
        "--out",
        type=click.Path(file_okay=False, path_type=Path),
        default="runs",
        show_default=True,
        metavar="DIR",
        help=about,
    )
