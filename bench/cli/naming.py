"""Where a run's files go, and what they are called."""

from __future__ import annotations

import re
from pathlib import Path

from bench.errors import UsageError
from bench.records.naming import cleaned
from bench.trace.file import TraceWriter


def new_trace(out: Path, created: str, unit: str | None, profile: str) -> TraceWriter:
    """A writer on a new trace in `out`, named from date, unit and profile; never an existing file.

    `created` is an ISO date and time, of which the seconds are the last that counts.  Raises UsageError if `out` cannot be
    made or written to.
    """
    moment = re.sub(r"[^0-9T]", "", created[: len("2000-01-01T00:00:00")]).replace("T", "-")
    stem = "_".join(part for part in (moment, cleaned(unit or ""), cleaned(profile)) if part)
    try:
        out.mkdir(parents=True, exist_ok=True)
        number = 1
        while True:
            suffix = f"_{number}" if number > 1 else ""
            try:
                return TraceWriter(out / f"{stem}{suffix}.jsonl")
            except FileExistsError:
                number += 1
    except OSError as e:
        raise UsageError(f"--out {out}: cannot be written to ({e.strerror}); name another folder") from None
