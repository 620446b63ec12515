"""Runs `mitbench` in this process or in one of its own, the way a person or a program would."""

from __future__ import annotations

import contextlib
import io
import json
import os
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import quote

from bench.cli.app import start

ROOT = Path(__file__).parent.parent.parent
#: How many boards the tests that draw many take; SEEDS=200 is the long form.
SEEDS = int(os.environ.get("SEEDS", "20"))


@dataclass(frozen=True)
class Answer:
    """What one command gave back; `plain` is its JSON object."""

    code: int
    out: str
    err: str

    @property
    def plain(self) -> dict[str, Any]:
        return json.loads(self.out)

    @property
    def failed(self) -> list[dict[str, Any]]:
        return [f for f in self.plain["findings"] if f["verdict"] == "fail"]

    def first(self) -> tuple[str, str | None, str | None]:
        """Requirement, output and kind of the first failed finding."""
        finding = self.failed[0]
        return finding["requirement"], finding["output"], finding["kind"]


def sim(*faults: str, seed: int = 0, draw: str = "inside", profile: str | None = None) -> str:
    """The URL of a simulated fixture."""
    parts = [f"fault={quote(fault)}" for fault in faults] + [f"seed={seed}", f"draw={draw}"]
    if profile:
        parts.append(f"profile={profile}")
    return "sim://?" + "&".join(parts)


def mitbench(*args: str | Path) -> Answer:
    """One command in this process."""
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        code = start([str(a) for a in args])
    return Answer(code, out.getvalue(), err.getvalue())


def run_board(profile: str, url: str, out: Path, *more: str) -> Answer:
    """`mitbench run PROFILE --fixture URL --out OUT --json`."""
    return mitbench("run", profile, "--fixture", url, "--out", out, "--json", *more)


def process(*args: str | Path, **kwargs: Any) -> subprocess.Popen[str]:
    """One command in a process of its own, its output piped."""
    env = {**os.environ, "PYTHONPATH": str(ROOT), "PYTHONUNBUFFERED": "1"}
    return subprocess.Popen(
        [sys.executable, "-m", "bench", *map(str, args)],
        env=env, text=True, stdout=subprocess.PIPE, stderr=subprocess.PIPE, **kwargs,
    )  # fmt: skip


@contextlib.contextmanager
def served(profile: str, *options: str) -> Iterator[str]:
    """`mitbench fixture simulate` in a process of its own; gives the URL that it prints first."""
    server = process("fixture", "simulate", profile, *options)
    assert server.stdout is not None
    try:
        line = server.stdout.readline()
        words = [w.rstrip(".,") for w in line.split() if w.startswith(("/dev/", "socket://"))]
        assert words, line + (server.stderr.read() if server.stderr and server.poll() is not None else "")
        yield words[0]
    finally:
        server.terminate()
        server.communicate(timeout=20)
