"""A person who presses Ctrl-C twice gets the exit code of a stopped run, whenever the second one comes."""

from __future__ import annotations

import os
import subprocess
import sys

import pytest

from tests.end_to_end.command import ROOT

#: `start` is stopped, and while it answers that and while the interpreter ends, another Ctrl-C comes.
TWICE = """
import atexit, signal
import bench.cli.app

def start():
    try:
        signal.raise_signal(signal.SIGINT)
    except KeyboardInterrupt:
        signal.raise_signal(signal.SIGINT)
        {answer}

def late():
    signal.raise_signal(signal.SIGINT)
    if hasattr(signal, "pthread_sigmask"):
        assert signal.SIGINT in signal.pthread_sigmask(signal.SIG_BLOCK, [])
        print("deaf")

atexit.register(late)
bench.cli.app.start = start
from bench.__main__ import main
main()
"""


@pytest.mark.parametrize("answer", ["return 130", "raise"])
def test_the_second_ctrl_c_changes_nothing(answer: str) -> None:
    done = subprocess.run(
        [sys.executable, "-c", TWICE.format(answer=answer)],
        env={**os.environ, "PYTHONPATH": str(ROOT)}, capture_output=True, text=True,
    )  # fmt: skip
    assert (done.returncode, done.stderr) == (130, "")
    assert "deaf" in done.stdout or os.name == "nt"


def test_an_ignored_ctrl_c_stays_ignored() -> None:
    code = (
        "import signal, bench.cli.app; signal.signal(signal.SIGINT, signal.SIG_IGN);"
        "bench.cli.app.start = lambda: signal.raise_signal(signal.SIGINT) or 7;"
        "from bench.__main__ import main; main()"
    )
    done = subprocess.run([sys.executable, "-c", code], env={**os.environ, "PYTHONPATH": str(ROOT)})
    assert done.returncode == 7
