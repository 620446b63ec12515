"""What this room hands out."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from firmware_ref.parameters import Parameters


@dataclass(frozen=True, slots=True)
class Profile:
    """A profile without mistakes.

    `data` is what was read, plain enough for JSON; `sha256` is that of `data`
    written as JSON with sorted keys and no spaces, so that a stored copy has
    the same one.  `wiring`: channel name → number of `hardware/channels.csv`.
    `source`: the file, or where the data came from.
    """

    name: str
    data: Mapping[str, Any]
    sha256: str
    parameters: Parameters
    wiring: Mapping[str, int]
    source: str


@dataclass(frozen=True, slots=True)
class Report:
    """What `check` found: whole lines, `file:line: key: …`, in order of the file."""

    errors: list[str] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)
