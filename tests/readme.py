"""What the README shows is what the commands print.

A fenced block marked `console` holds commands (`$ mitbench …`) and under each
what it prints, stdout and stderr together.  A line `…` stands for any number
of lines.  Dates and times of day are not compared.

`python -m tests.readme` writes today's output into the README, leaving the
`…` where they stand; read the difference before you keep it.
"""

from __future__ import annotations

import difflib
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
BLOCK = re.compile(r"^```console\n(.*?)^```$", re.MULTILINE | re.DOTALL)


@dataclass(frozen=True)
class Shown:
    """One command of the README with the output shown under it."""

    command: str
    output: tuple[str, ...]


def shown(text: str) -> list[Shown]:
    """The commands in all `console` blocks, in order."""
    found: list[Shown] = []
    for block in BLOCK.findall(text):
        for part in re.split(r"^\$ ", block, flags=re.MULTILINE)[1:]:
            command, *output = part.rstrip("\n").split("\n")
            found.append(Shown(command, tuple(output)))
    return found


def printed(command: str, folder: Path) -> list[str]:
    """What a command prints in `folder`; `mitbench` runs from this tree, with no terminal of any fixed kind."""
    words = shlex.split(command)
    if words[0] == "mitbench":
        files = [sorted(folder.glob(word)) if "*" in word else [word] for word in words[1:]]
        names = [w.relative_to(folder) if isinstance(w, Path) else w for some in files for w in some]
        words = [sys.executable, "-m", "bench", *map(str, names)]
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


def elided(expected: tuple[str, ...], actual: list[str]) -> list[str]:
    """The actual lines, with `…` where it stood among lines that are alike but for their figures."""
    old, new = ([re.sub(r"[\d.]+", "#", normal(line)) for line in lines] for lines in (expected, actual))
    lines: list[str] = []
    for same, i, j, k, n in difflib.SequenceMatcher(None, old, new, autojunk=False).get_opcodes():
        lines += [SKIP] if same != "equal" and SKIP in expected[i:j] else map(normal, actual[k:n])
    return lines


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:

        def rewritten(block: re.Match[str]) -> str:
            lines: list[str] = []
            for part in shown(block.group(0)):
                actual = printed(part.command, Path(folder))
                output = list(part.output) if agrees(part.output, actual) else elided(part.output, actual)
                lines += [f"$ {part.command}", *output]
            return "\n".join(("```console", *lines, "```"))

        README.write_text(BLOCK.sub(rewritten, README.read_text("utf-8")), "utf-8")


if __name__ == "__main__":
    main()
