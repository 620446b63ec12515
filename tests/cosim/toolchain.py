"""What the co-simulation is built from, and whether it can be built here.

Everything built is kept: the harness in build/cosim, the images in their own
rooms.  Two test processes may ask at once; a lock lets one build.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from ctypes.util import find_library
from functools import cache
from pathlib import Path

ROOT = Path(__file__).parents[2]
BUILD = ROOT / "build" / "cosim"
FIXTURE = ROOT / "hardware" / "fixture"
BOARD = ROOT / "firmware_ref" / "board"


@cache
def missing() -> str | None:
    """One sentence if something is not there, else None."""
    lacks = [name for name in ("make", "cc", "avr-gcc") if shutil.which(name) is None]
    if find_library("simavr") is None and not list(Path("/usr/lib").glob("*/libsimavr.so.2")):
        lacks.append("libsimavr2")
    if not (BUILD / "include" / "simavr" / "sim_avr.h").is_file():
        lacks.append("the headers of libsimavr-dev")
    return f"not installed: {', '.join(lacks)}; .ci/toolchain installs it" if lacks else None


def needed() -> None:
    """Ends a script with one sentence if something is not there."""
    if lacks := missing():
        sys.exit(f"The co-simulation cannot be built here: {lacks}.")


@contextmanager
def _alone() -> Iterator[None]:
    import fcntl  # here, so that the tests can be collected, and skipped, where there is none

    BUILD.mkdir(parents=True, exist_ok=True)
    with (BUILD / "lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        yield


def _make(folder: Path, *words: str) -> None:
    done = subprocess.run(["make", "-s", "-C", str(folder), *words], capture_output=True, text=True)
    if done.returncode != 0:
        raise RuntimeError(f"make {' '.join(words)} in {folder.name} failed:\n{done.stdout}{done.stderr}")


@cache
def harness() -> Path:
    """The shared library over libsimavr."""
    with _alone():
        _make(ROOT, "build/cosim/harness.so")
    return BUILD / "harness.so"


@cache
def fixture_image() -> Path:
    with _alone():
        _make(FIXTURE, "build/fixture.elf")
    return FIXTURE / "build" / "fixture.elf"


@cache
def board_image(defect: str | None = None) -> Path:
    """The board's image, with a defect of defects.csv if one is named."""
    name = f"board-{defect}" if defect else "board"
    with _alone():
        _make(BOARD, f"build/avr/{name}.elf", *([f"DEFECT={defect}"] if defect else []))
    return BOARD / "build" / "avr" / f"{name}.elf"


def address_of(image: Path, symbol: str) -> int:
    """Where a variable of an image lies in its data memory."""
    listed = subprocess.run(["avr-nm", str(image)], capture_output=True, text=True, check=True).stdout
    found = next(line for line in listed.splitlines() if line.endswith(f" {symbol}"))
    return int(found.split()[0], 16) & 0xFFFF


@cache
def probe_image(name: str, mcu: str) -> Path:
    """One of the small images that only the tests of the harness use."""
    source, into = Path(__file__).parent / "probes" / f"{name}.c", BUILD / f"{name}.elf"
    with _alone():
        if not into.is_file() or into.stat().st_mtime < source.stat().st_mtime:
            command = ["avr-gcc", f"-mmcu={mcu}", "-DF_CPU=16000000UL", "-std=c11", "-Os", "-Wall", "-Wextra"]
            subprocess.run([*command, "-Werror", "-o", str(into), str(source)], check=True)
    return into
