"""Calibration records on disk: one small file for each fixture, beside the results.

Named by the fixture's serial.  A file that was damaged, or that belongs to
another fixture, is never used: whoever reads it is told so in one sentence.
"""

from __future__ import annotations

import json
import os
from pathlib import Path

from bench.errors import UsageError
from bench.records.naming import cleaned
from bench.run.bench import Identity
from bench.trace.calibration import Calibration, from_json

_AGAIN = "make it anew with `mitbench fixture check`"
#: A record is a few kilobytes; what is far larger is none.
_LARGEST = 1_000_000


def place(folder: Path, serial: str) -> Path:
    """Where the record of the fixture with that serial is kept."""
    return folder / f"fixture-{cleaned(serial) or 'no-serial'}.json"


def keep(folder: Path, record: Calibration) -> Path:
    """Write a record in place of an earlier one; raises UsageError if it cannot be written."""
    path = place(folder, record.fixture["serial"])
    draft = path.with_name(f".{path.name}.{os.getpid()}.new")
    try:
        folder.mkdir(parents=True, exist_ok=True)
        try:
            draft.write_text(json.dumps(record.as_json(), indent=1, ensure_ascii=False) + "\n", "utf-8")
            os.replace(draft, path)
        finally:
            draft.unlink(missing_ok=True)
    except OSError as e:
        raise UsageError(
            f"--out {folder}: cannot be written to ({e.strerror}); name another folder"
        ) from None
    return path


def void(folder: Path, serial: str) -> Path | None:
    """Put the record of a fixture that was found unsound aside; where it lies now, None if there was none."""
    path = place(folder, serial)
    aside = path.with_suffix(".void.json")
    try:
        os.replace(path, aside)
    except OSError:
        return None
    return aside


def find(folder: Path, fixture: Identity) -> tuple[Calibration | None, str | None]:
    """The fixture's record, and a sentence if there is one that cannot be used."""
    path = place(folder, fixture.serial)
    try:
        with path.open("rb") as file:
            raw = file.read(_LARGEST)
    except FileNotFoundError:
        return None, None
    except OSError as e:
        return None, _unused(path, f"cannot be read ({e.strerror})")
    try:
        record = from_json(json.loads(raw.decode("utf-8")))
    except (json.JSONDecodeError, UnicodeDecodeError, RecursionError):
        return None, _unused(path, "is damaged: it is no JSON")
    except ValueError as e:
        return None, _unused(path, str(e))
    foreign = _foreign(record, fixture)
    return (None, _unused(path, foreign)) if foreign else (record, None)


def _foreign(record: Calibration, fixture: Identity) -> str | None:
    if record.simulated is not fixture.simulated:
        return f"is of a {'simulated' if record.simulated else 'real'} fixture and this one is not"
    for key in ("serial", "model", "firmware"):
        was, now = record.fixture[key], getattr(fixture, key)
        if was != now:
            return f"was made of {key} {was}, and this fixture has {key} {now}"
    return None


def _unused(path: Path, why: str) -> str:
    return f"the calibration record {path} {why}; it was not used, {_AGAIN}"
