"""The rules of the house hold in every file, and each of them can fail."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

from tests.house import broken_rules

ROOT = Path(__file__).parent.parent
TEXT = {".py", ".md", ".toml", ".yaml", ".yml", ".csv", ".json", ".jsonl", ".c", ".h", ".html", ".txt", ""}
FRONT = ("README.md", "DEVELOPERS.md", "CHANGELOG.md", "LICENSE", "Makefile", "pyproject.toml", ".ci/run")


def sources() -> list[Path]:
    return sorted(p for top in ("bench", "firmware_ref") for p in (ROOT / top).rglob("*.py"))


def texts() -> list[Path]:
    inside = [
        p
        for top in ("bench", "firmware_ref", "profiles", "hardware", "tests")
        for p in (ROOT / top).rglob("*")
        if p.is_file() and p.suffix in TEXT and not {"_data", "build", "corpus", "__pycache__"} & set(p.parts)
    ]
    return [ROOT / name for name in FRONT] + sorted(inside)


def module_name(path: Path) -> str:
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def test_no_file_breaks_a_rule() -> None:
    wrong = [
        sentence
        for path in sources()
        for sentence in broken_rules(module_name(path), path.read_text("utf-8"), path.name == "__init__.py")
    ]
    assert wrong == []


def test_every_room_is_a_package() -> None:
    for folder in {p.parent for p in sources()}:
        assert (folder / "__init__.py").is_file(), folder


@pytest.mark.parametrize(
    ("module", "source"),
    [
        ("bench.judge.live", "import threading"),
        ("bench.judge.live", "import datetime"),
        ("bench.judge.live", "from bench.fixture import driver"),
        ("bench.judge.live", "from bench.simulated.board import Board"),
        ("bench.scpi.lines", "import socket"),
        ("bench.scpi.lines", "def f():\n    import time"),
        ("bench.trace.file", "from ..run.session import run_session"),
        ("bench.trace.file", "from bench import clock"),
        ("bench.procedure.steps", "from bench.run import session"),
        ("bench.profile.load", "import subprocess"),
        ("firmware_ref.machine", "from bench.judge import bounds"),
        ("firmware_ref.machine", "import bench"),
        ("bench.link.port", "from bench.simulated import fixture"),
        ("bench.run.session", "from bench.cli import run"),
        ("bench.run.session", "import rich.live"),
        ("bench.run.session", "import argparse"),
        ("bench.run.session", "from serial import Serial"),
        ("bench.fixture.driver", "from time import monotonic"),
        ("bench.fixture.driver", "from datetime import datetime\nx = datetime.now()"),
        ("bench.fixture.driver", "import datetime\nx = datetime.datetime.now()"),
        ("bench.fixture.driver", "import termios"),
        ("bench.simulated.board", "from bench.judge.judge import judge_trace"),
        ("bench.simulated.board", "from firmware_ref.machine import Machine"),
        ("bench.cli.run", "import yaml"),
    ],
)
def test_each_rule_can_fail(module: str, source: str) -> None:
    assert broken_rules(module, source) != []


@pytest.mark.parametrize(
    ("module", "source"),
    [
        (
            "bench.judge.live",
            "from bench.trace.records import Record\nfrom firmware_ref.parameters import Mode",
        ),
        ("bench.procedure.dry", "from bench.run.bench import Bench\nfrom bench.errors import ProcedureError"),
        ("bench.simulated.board", "from bench.judge.bounds import expected_bound_us"),
        ("bench.simulated.board", "from bench.judge import bounds"),
        ("bench.cli.sim", "from bench.simulated import fixture\nimport click"),
        ("bench.clock", "import time"),
        ("bench.fixture.driver", "from datetime import timedelta"),
    ],
)
def test_what_is_allowed_passes(module: str, source: str) -> None:
    assert broken_rules(module, source) == []


@pytest.mark.parametrize(
    "args", [["--help"], ["run", "--help"], ["fixture", "simulate", "--help"], ["--version"]]
)
def test_help_loads_nothing_heavy(args: list[str]) -> None:
    done = subprocess.run(
        [sys.executable, "-X", "importtime", "-m", "bench", *args], cwd=ROOT, capture_output=True, text=True
    )
    assert done.returncode == 0, done.stderr
    loaded = {
        line.rpartition("|")[2].strip()
        for line in done.stderr.splitlines()
        if line.startswith("import time:")
    }
    assert "click" in loaded
    heavy = {"yaml", "pydantic", "rich", "jinja2", "serial", "statemachine", "markdown_it", "asyncio"}
    assert {name for name in loaded if name.split(".")[0] in heavy} == set()
    ours = {name for name in loaded if name.split(".")[0] in ("bench", "firmware_ref")}
    assert {n for n in ours if not n.startswith("bench.cli")} <= {"bench", "bench.errors", "bench.__main__"}


# A place on somebody's machine, or the address of a package registry: put together here so that this file has none.
PLACES = re.compile(
    r"(?<![\w.~$}\)])/(?:" + "|".join(("home", "root", "work", "Users", "tmp", "opt")) + r")/"
)
REGISTRIES = re.compile("|".join((r"py" + r"pi\.org", r"python" + r"hosted", r"deb\." + r"debian")))


def test_no_text_names_a_place_on_somebodys_machine() -> None:
    found = [
        f"{path.relative_to(ROOT)}:{number}: {line.strip()[:80]}"
        for path in texts()
        for number, line in enumerate(path.read_text("utf-8").splitlines(), 1)
        if PLACES.search(line) or REGISTRIES.search(line)
    ]
    assert found == []


def test_such_a_place_would_be_found() -> None:
    assert PLACES.search("see " + "/" + "home/someone/notes")
    assert not PLACES.search("https://example.org/home/page")
    assert not PLACES.search("call it from tests/work/x")
