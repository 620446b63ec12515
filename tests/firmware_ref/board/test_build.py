"""The firmware's tables against each other, and its builds."""

from __future__ import annotations

import csv
import shutil
import subprocess
from pathlib import Path

import pytest

from bench.judge.findings import REQUIREMENTS
from bench.profile import load, shipped
from firmware_ref.board.image import ALARM, CALLS, RELAYS
from tests.firmware_ref.board.core import FIRMWARE, defects

#: Kept by debugging and serial links; an output there would be driven by them.
BUSY_PINS = {"PB5", "PB6", "PB7", "PD0", "PD1", "PC2", "PC3", "PC4", "PC5"}


def make(*arguments: str) -> subprocess.CompletedProcess[str]:
    if shutil.which("make") is None:
        pytest.skip("make is not installed: the board's firmware cannot be built")
    return subprocess.run(["make", "-C", str(FIRMWARE), *arguments], capture_output=True, text=True)


def pins() -> list[dict[str, str]]:
    with (FIRMWARE / "pins.csv").open(newline="") as file:
        return list(csv.DictReader(file))


def test_pins_stand_in_the_order_of_the_parameter_table() -> None:
    names = [row["name"] for row in pins()]
    assert tuple(n[5:] for n in names if n.startswith("call.")) == CALLS
    assert tuple(n[4:] for n in names if n.startswith("out.")) == RELAYS
    assert tuple(n for n in names if n.startswith("alarm.")) == ALARM


def test_no_pin_is_given_twice() -> None:
    used = [row["pin"].replace("ADC", "PA") for row in pins()]
    assert len(used) == len(set(used))


def test_no_driver_hangs_on_a_pin_that_flashing_or_debugging_moves() -> None:
    drivers = {row["pin"] for row in pins() if row["role"] in ("relay", "lamp", "bias")}
    assert not drivers & BUSY_PINS


def test_the_table_of_defects_is_well_formed() -> None:
    rows = defects()
    assert len({d.name for d in rows}) == len(rows) >= 26
    procedures = {p.stem for p in (FIRMWARE / "procedures").glob("*.yaml")}
    for d in rows:
        assert d.requirement in REQUIREMENTS, d
        assert d.profile in shipped() or Path(d.profile).is_file(), d
        assert d.procedure in procedures | {"", "acceptance", "levels"}, d
        outputs = {o.name for o in load(d.profile).parameters.outputs}
        assert d.sentence.endswith(".") and set((d.output or "").split()) <= outputs, d
    assert procedures <= {d.procedure for d in rows}


def test_each_defect_stands_in_the_core_and_none_that_is_not_tabled() -> None:
    text = "".join(p.read_text() for p in (FIRMWARE / "core").glob("*.c"))
    used = {part.split(")")[0].replace("_", "-") for part in text.split("HAS(")[1:]}
    assert used == {d.name for d in defects()}


def test_make_lists_the_defects() -> None:
    assert make("-s", "list").stdout.split() == [d.name for d in defects()]


def test_the_core_compiles_without_a_warning_under_each_compiler() -> None:
    if shutil.which("gcc") is None:
        pytest.skip("gcc is not installed")
    done = make("-s", "strict")
    assert done.returncode == 0, done.stderr
    assert "gcc: no warning" in done.stdout


def test_the_core_knows_no_registers_and_allocates_nothing() -> None:
    for path in (FIRMWARE / "core").iterdir():
        text = path.read_text()
        for word in ("<avr/", "malloc", "<stdlib.h>", "<time.h>", "volatile"):
            assert word not in text, f"{path.name}: {word}"


@pytest.mark.slow
def test_the_avr_image_fits_with_room() -> None:
    if shutil.which("avr-gcc") is None:
        pytest.skip("avr-gcc is not installed: apt-get install gcc-avr avr-libc")
    done = make("-s", "avr", "DEFECT=")
    assert done.returncode == 0, done.stderr
    numbers = [int(word) for word in done.stdout.replace(",", "").split() if word.isdigit()]
    flash, _, ram, _, stack = numbers
    assert 4_000 < flash < 16_384
    assert ram + stack < 2_048
    # The biggest frame is the one that reads the image: a stack count that misses it is wrong.
    assert stack > 384 + 32
