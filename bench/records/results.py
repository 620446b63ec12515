"""The log of results: one line of a CSV file for each run.

Several programs may append to the same file at once: a file is born with its
header row in it, and a line goes out in one write at the end of the file.  A
line that somebody else left unfinished is closed, never overwritten.
"""

from __future__ import annotations

import csv
import io
import os
from collections.abc import Sequence
from pathlib import Path
from threading import get_ident

from bench.judge.findings import Judgement
from bench.trace.records import Header

COLUMNS = (
    "date", "verdict", "reason", "unit", "operator", "profile", "profile_sha256", "procedure", "simulated",
    "board_seconds", "passed", "failed", "inconclusive", "not_exercised", "not_judged", "trace",
)  # fmt: skip

#: A spreadsheet takes a cell that begins so for a formula (full-width forms included).
_FORMULA = ("=", "+", "-", "@", "＝", "＋", "－", "＠")
#: How many differently shaped files of one name are tried before giving up.
_TRIES = 100
#: How often an unfinished last line is looked at before it counts as cut off; together some milliseconds.
_LOOKS = 2_000


def append_result(path: Path, header: Header, judgement: Judgement, trace: Path | None) -> str | None:
    """Add one line for this run to `path`, which is created if need be.

    Returns None, or one sentence if something about the file has to be told
    (it then says where the line went).  Never raises OSError: the result of
    the run must not be lost because its log cannot be written.
    """
    line = _line(row(header, judgement, trace))
    try:
        return _append(path, line)
    except OSError as e:
        return (
            f"{path}: this run could not be added ({e.strerror or e}); make room or close the program "
            "that holds the file; the trace holds the run all the same"
        )


def row(header: Header, judgement: Judgement, trace: Path | None) -> list[str]:
    """The cells of one run, in the order of `COLUMNS`, safe to open in a spreadsheet."""
    verdicts = [f.verdict for f in judgement.findings]
    return [
        _text(header.created),
        judgement.verdict,
        _text(judgement.reason),
        _text(header.unit_under_test or ""),
        _text(header.operator or ""),
        _text(header.profile.get("name") or ""),
        _text(header.profile_sha256),
        _text(header.procedure.get("name") or ""),
        "yes" if header.simulated else "no",
        f"{judgement.board_seconds:.1f}",
        *(str(verdicts.count(v)) for v in ("pass", "fail", "inconclusive")),
        str(len(judgement.not_exercised)),
        str(len(judgement.not_judged)),
        _text("" if trace is None else trace.name),
    ]


def _text(text: object) -> str:
    """One line without control characters; a mark before what a spreadsheet would calculate."""
    plain = " ".join("".join(c if c.isprintable() else " " for c in str(text)).split())
    return f"'{plain}" if plain.startswith(_FORMULA) else plain


def _line(cells: Sequence[str]) -> bytes:
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerow(cells)
    return out.getvalue().encode("utf-8")


_HEADER = _line(COLUMNS)


def _append(path: Path, line: bytes) -> str | None:
    for number in range(1, _TRIES):
        target = path if number == 1 else path.with_name(f"{path.stem}-{number}{path.suffix}")
        if not target.exists():
            _create(target)
        first = _first_line(target)
        if first and first != _HEADER.strip():
            continue
        told = _finish(target, line, empty=not first)
        if number > 1:
            return f"{path}: its first line is not that of a results log, so this run was added to {target}"
        return told
    return f"{path}: this run could not be added, since {_TRIES} files of that name are no results logs"


def _create(path: Path) -> None:
    """Bring the file into being with its header row already in it, whoever else does the same."""
    draft = path.with_name(f".{path.name}.{os.getpid()}-{get_ident()}.new")
    try:
        draft.write_bytes(_HEADER)
        try:
            os.link(draft, path)  # unlike a rename, never replaces a file that has come meanwhile
        except FileExistsError:
            pass
        except (OSError, NotImplementedError):  # a file system without links
            with path.open("ab") as file:
                if file.tell() == 0:
                    file.write(_HEADER)
    finally:
        draft.unlink(missing_ok=True)


def _first_line(path: Path) -> bytes:
    """The first line, without the marks that a spreadsheet adds on saving."""
    with path.open("rb") as file:
        return file.readline(4096).removeprefix(b"\xef\xbb\xbf").strip()


def _finish(path: Path, line: bytes, *, empty: bool) -> str | None:
    """Append `line`, after the header in an empty file, after the close of a line that was cut off."""
    before, told = (_HEADER, None) if empty else (b"", None)
    if not empty and (cut_off := _unfinished(path)) is not None:
        # An odd number of quotes: the cell is still open and would swallow what follows.
        before = b'"\n' if cut_off.count(b'"') % 2 else b"\n"
        told = f"{path}: its last line was cut off; it was left as it is, and this run was added after it"
    with path.open("ab", buffering=0) as file:
        rest = before + line
        while rest:
            rest = rest[file.write(rest) or 0 :]
    return told


def _unfinished(path: Path) -> bytes | None:
    """The last line if it has no end and gets none, else None.

    A line that another program is writing at this moment may be seen in part
    (a write can grow the file in two steps), so it is looked at again and again.
    """
    with path.open("rb", buffering=0) as file:
        for _ in range(_LOOKS):
            size = file.seek(0, os.SEEK_END)
            file.seek(max(0, size - 65_536))
            tail = file.read(65_536 * 2)
            if tail.endswith(b"\n") or not tail:
                return None
    return tail.rpartition(b"\n")[2]
