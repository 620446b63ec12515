"""What the README shows is what the commands print.

A fenced block marked `console` holds commands (`$ mitbench …`) and under each
what it prints, stdout and stderr together.  A line `…` stands for any number
of lines.  Dates and times of day are not compared.

`python -m tests.readme` writes today's output into the README, leaving the
`…` where they are; read the difference before you keep it.
"""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parent.parent
README = ROOT / "README.md"
SKIP = "…"


@dataclass(frozen=True)
class Shown:
    """One command of the README with the output shown under it."""

    command: str
    output: tuple[str, ...]


def shown(text: str) -> list[Shown]:
    """The commands in all `console` blocks, in order."""
    found: list[Shown] = []
    for block in re.findall(r"^```console\n(.*?)^```$", text, re.MULTILINE | re.DOTALL):
        for part in re.split(r"^\$ ", block, flags=re.MULTILINE)[1:]:
            command, *output = part.rstrip("\n").split("\n")
            found.append(Shown(command, tuple(output)))
    return found


def printed(command: str, folder: Path) -> list[str]:
    """What a command prints in `folder`; `mitbench` runs from this tree, with no terminal of any fixed kind."""
    words = shlex.split(command)
    if words[0] == "mitbench":
        words = [sys.executable, "-m", "bench", *words[1:]]
    else:
        raise AssertionError(f"README shows the output of {words[0]}, which this cannot run")
    env = {
        **os.environ,
        "PYTHONPATH": str(ROOT),
        "COLUMNS": "100",
        "NO_COLOR": "1",
        "PYTHONIOENCODING": "utf-8",
    }
    done = subprocess.run(
        words,
        cwd=folder,
        env=env,
        text=True,
        encoding="utf-8",
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
    )
    return [line.rstrip() for line in done.stdout.rstrip("\n").split("\n")]


def normal(line: str) -> str:
    """`line` with every date and time of day made alike."""
    line = re.sub(r"\b20\d{6}-\d{6}(?=_|\b)", "20250101-120000", line)
    return re.sub(
        r"\b20\d\d-\d\d-\d\d[T ]\d\d:\d\d(:\d\d)?([+-]\d\d:\d\d|Z)?", "2025-01-01 12:00", line.rstrip()
    )


def agrees(expected: tuple[str, ...], actual: list[str]) -> bool:
    """Whether the shown output is the actual one, `…` standing for any lines."""
    pattern = "".join(r"(?:.*\n)*" if line == SKIP else re.escape(normal(line)) + r"\n" for line in expected)
    return re.fullmatch(pattern, "".join(normal(line) + "\n" for line in actual)) is not None


def main() -> None:
    text = README.read_text("utf-8")
    with tempfile.TemporaryDirectory() as folder:
        for part in shown(text):
            actual = printed(part.command, Path(folder))
            if not agrees(part.output, actual):
                old = "\n".join((f"$ {part.command}", *part.output))
                text = text.replace(old, "\n".join((f"$ {part.command}", *map(normal, actual))))
    README.write_text(text, "utf-8")


if __name__ == "__main__":
    main()
