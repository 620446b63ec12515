"""Prints how fast mitbench is on this machine; asserts nothing.

    python tests/performance/measure.py

- `--help` and a first command as whole processes (aims: 120 ms, and about the same again);
- `run … --fixture sim:// --json` as a whole process, per 15 minutes of board time (aim: 0.8 s);
- as multiples of real time (aim: 20,000): a run in this process with its page; the session over the serial
  language alone; the procedure over a board without a link; and the judge alone.

Each figure is the best of several, since everything else on the machine only
ever makes it worse.
"""

from __future__ import annotations

import contextlib
import io
import json
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

ROOT = Path(__file__).parent.parent.parent
sys.path.insert(0, str(ROOT))


def best_s(of: int, act: Callable[[], object]) -> float:
    """Shortest time in s that `act` took, of so many."""
    shortest = float("inf")
    for _ in range(of):
        begun = time.perf_counter()
        act()
        shortest = min(shortest, time.perf_counter() - begun)
    return shortest


def process(*args: str) -> str:
    done = subprocess.run(
        [sys.executable, "-m", "bench", *args], cwd=ROOT, capture_output=True, text=True, check=True
    )
    return done.stdout


def row(what: str, value: str, aim: str) -> None:
    print(f"{what:<58} {value:>14}   aim {aim}")


def main() -> None:
    from bench.cli.app import start
    from bench.profile import shipped

    row("mitbench --help", f"{best_s(10, lambda: process('--help')) * 1e3:.0f} ms", "120 ms")
    row("mitbench profile list", f"{best_s(10, lambda: process('profile', 'list')) * 1e3:.0f} ms", "250 ms")
    for profile in shipped():
        with tempfile.TemporaryDirectory() as out:
            args = ["run", profile, "--fixture", "sim://", "--json", "--out", out]
            board_s = json.loads(process(*args))["board_seconds"]
            whole_s = best_s(5, lambda args=args: process(*args))  # type: ignore[misc]
            row(f"run {profile}, a process", f"{whole_s * 900 / board_s:.2f} s/15 min", "0.8 s/15 min")

            def inside(args: list[str] = args) -> None:
                with contextlib.redirect_stdout(io.StringIO()):
                    start(args)

            row(f"run {profile}, in process", f"{board_s / best_s(5, inside):,.0f} x", "20,000 x")
        engines(profile)


def engines(name: str) -> None:
    """The parts of a run without what surrounds them."""
    from bench.cli.opening import open_fixture
    from bench.judge.judge import judge_trace
    from bench.procedure import load as load_procedure
    from bench.profile import load
    from bench.run.dry_run import synthetic
    from bench.run.observer import Silent
    from bench.run.session import run_session

    profile = load(name)
    procedure = load_procedure("acceptance", profile.parameters)
    trace, _ = synthetic(procedure, profile)
    board_s = trace.records[-1].tick_us / 1e6  # type: ignore[union-attr]

    def session() -> None:
        bench = open_fixture("sim://", profile)
        run_session(
            bench, procedure, profile, sink=lambda record: None, observer=Silent(), stop=lambda: False
        )

    parts = (
        ("session over sim://", session),
        ("procedure without a link", lambda: synthetic(procedure, profile)),
        ("judge", lambda: judge_trace(trace, profile.parameters)),
    )
    for what, act in parts:
        row(f"{what}, {name}", f"{board_s / best_s(5, act):,.0f} x", "20,000 x")


if __name__ == "__main__":
    main()
