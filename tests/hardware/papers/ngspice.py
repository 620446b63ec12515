"""Runs a circuit in ngspice and reads back what was asked for."""

from __future__ import annotations

import shutil
import subprocess
import tempfile
from collections.abc import Sequence
from pathlib import Path

import pytest

from hardware.schematic.spice import Circuit

NGSPICE = shutil.which("ngspice")
needs_ngspice = pytest.mark.skipif(
    NGSPICE is None, reason="ngspice is not installed, so the values are not checked"
)

#: At rest the answer is wanted to a microvolt; in time ngspice has to get over the edges.
_STILL = "option reltol=1e-5 vntol=1n abstol=1p"
_MOVING = "option reltol=1e-4 vntol=1u abstol=1n method=gear"


def run(circuit: Circuit, analysis: str, probes: Sequence[str], options: str) -> list[list[float]]:
    """The scale (time, swept source), then one column for each probe."""
    assert NGSPICE is not None
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder, "circuit.cir")
        commands = [
            "set wr_singlescale",
            "set numdgt=9",
            options,
            analysis,
            f"wrdata out.txt {' '.join(probes)}",
        ]
        file.write_text(circuit.text(commands), "utf-8")
        done = subprocess.run(
            [NGSPICE, "-b", file.name], cwd=folder, capture_output=True, text=True, timeout=120
        )
        out = Path(folder, "out.txt")
        assert out.is_file(), done.stdout + done.stderr + file.read_text("utf-8")
        rows = [[float(word) for word in line.split()] for line in out.read_text("utf-8").splitlines()]
    assert rows and len(rows[0]) == len(probes) + 1, rows[:1]
    return [list(column) for column in zip(*rows, strict=True)]


def point(circuit: Circuit, *probes: str) -> list[float]:
    """Operating point."""
    return [column[-1] for column in run(circuit, "op", probes, _STILL)[1:]]


def sweep(
    circuit: Circuit, source: str, begin: float, end: float, step: float, probe: str
) -> list[list[float]]:
    return run(circuit, f"dc {source} {begin:g} {end:g} {step:g}", [probe], _STILL)


def course(circuit: Circuit, step: float, end: float, *probes: str) -> list[list[float]]:
    """In time; `step` is also the longest that ngspice may take."""
    columns = run(circuit, f"tran {step:g} {end:g} 0 {step:g}", probes, _MOVING)
    assert columns[0][-1] > 0.999 * end, f"ngspice gave up at {columns[0][-1]:g} s"
    return columns


def crossing(scale: Sequence[float], column: Sequence[float], level: float, *, after: float = -1e99) -> float:
    """Where a column first passes a level, either way, between two rows."""
    for n in range(1, len(scale)):
        a, b = column[n - 1] - level, column[n] - level
        if scale[n] > after and a * b <= 0 and a != b:
            return scale[n - 1] + (scale[n] - scale[n - 1]) * a / (a - b)
    raise AssertionError(f"{level} is never passed; from {column[0]} to {column[-1]}")
