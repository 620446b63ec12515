"""The reference board's firmware on this computer: built by its Makefile, loaded with ctypes, in virtual time.

`CoreBoard` looks like `bench.simulated.board.Board` to a fixture or a stand;
behind it every millisecond of the C core is carried out.
"""

from __future__ import annotations

import csv
import ctypes
import functools
import shutil
import subprocess
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from bench.simulated.board import TerminalChange
from firmware_ref.board.image import CALLS, RELAYS, call_terminals, image, terminals
from firmware_ref.parameters import Mode, Parameters

FIRMWARE = Path(__file__).parents[3] / "firmware_ref" / "board"
TERMINALS = (*RELAYS, "alarm.no", "alarm.nc", "light")
MODES = (
    Mode.UNPOWERED, Mode.START_UP, Mode.NORMAL, Mode.LEAK_ACTIVE, Mode.POST_LEAK_HOLD, Mode.SENSOR_FAULT,
    Mode.SELF_TEST,
)  # fmt: skip
STORE_BYTES = 32
#: What the board's input reads: an open wire is pulled to its supply; the end-of-line divider.
SIGNAL_MV = {"open": 5_000, "short": 0, "normal": 2_500, "leak": 1_240}


@dataclass(frozen=True)
class Defect:
    name: str
    requirement: str
    output: str | None
    procedure: str
    profile: str
    sentence: str


@functools.cache
def defects() -> tuple[Defect, ...]:
    with (FIRMWARE / "defects.csv").open(newline="") as file:
        return tuple(
            Defect(**{**row, "output": row["output"] or None, "profile": profile_of(row["profile"])})
            for row in csv.DictReader(file)
        )


def profile_of(name: str) -> str:
    """A shipped profile by its name, one in the firmware's folder by its path."""
    own = FIRMWARE / "profiles" / f"{name}.yaml"
    return str(own) if own.is_file() else name


@functools.cache
def library(target: str = "host") -> ctypes.CDLL:
    """The host port, built if it is not up to date; target `every`: with all defects in it, one to be chosen."""
    if shutil.which("make") is None or not any(map(shutil.which, ("cc", "gcc", "clang"))):
        import pytest  # the table of defects is read without it, too

        pytest.skip("no C compiler and make on this computer: the board's firmware cannot be built")
    done = subprocess.run(
        ["make", "-s", "-C", str(FIRMWARE), target, "DEFECT="], capture_output=True, text=True
    )
    assert done.returncode == 0, done.stderr
    lib = ctypes.CDLL(str(FIRMWARE / "build" / "host" / ("board.so" if target == "host" else "every.so")))
    handle, us, flag, word = ctypes.c_void_p, ctypes.c_int64, ctypes.c_bool, ctypes.c_uint32
    buffer = ctypes.c_char_p
    for name, result, arguments in (
        ("new", handle, (buffer, word, word)),
        ("defect", None, (ctypes.c_int32,)),
        ("free", None, (handle,)),
        ("supply", None, (handle, flag, us)),
        ("call", None, (handle, word, flag, us)),
        ("sensor", None, (handle, word, word, us)),
        ("trouble", None, (handle, word, flag, us)),
        ("button", None, (handle, flag, us)),
        ("bus", None, (handle, ctypes.c_uint8, us)),
        ("asks", flag, (handle, buffer, ctypes.POINTER(us))),
        ("advance", None, (handle, us)),
        ("take", flag, (handle, ctypes.POINTER(_Change))),
        ("next", us, (handle,)),
        ("reset", None, (handle,)),
        ("store", None, (handle, buffer)),
        ("put_store", None, (handle, buffer)),
        ("mode", ctypes.c_int32, (handle,)),
        ("light", flag, (handle,)),
        ("alive", flag, (handle,)),
        ("tear", None, (handle, word)),
        ("resets", word, (handle,)),
    ):
        function = getattr(lib, f"host_{name}")
        function.restype, function.argtypes = result, arguments
    return lib


#: The light changes less than 60 times in this.
_STEP_US = 3_000_000


class _Change(ctypes.Structure):
    _fields_ = (("at_us", ctypes.c_int64), ("terminal", ctypes.c_int32), ("on", ctypes.c_int32))


class CoreBoard:
    """One board with this firmware; times are us since it was made."""

    drops_supply = False
    feeds_back: frozenset[str] = frozenset()

    def __init__(
        self, parameters: Parameters, *, seed: int = 0, defect: str = "", table: bytes | None = None
    ) -> None:
        """`defect` holds for all boards that have one, from here on.  `table`: another parameter image."""
        self._h = None
        table = image(parameters) if table is None else table
        self._lib = library("every" if defect else "host")
        self._lib.host_defect(1 + [d.name for d in defects()].index(defect) if defect else 0)
        self._h = self._lib.host_new(table, parameters.frequency_hz, seed)
        self._names = {place: name for name, place in terminals(parameters).items()}
        self._calls = {name: CALLS.index(place) for name, place in call_terminals(parameters).items()}
        if parameters.light is not None:
            self._names["light"] = "light"
        self._now_us = 0
        self._on_bus = next((s.name for s in parameters.sensors if s.modbus is not None), "")
        self._send: Callable[[str, bytes, int], None] = lambda name, data, at_us: None
        self._shown = {o.name: o.kind == "contact-nc" for o in parameters.outputs}

    def __del__(self) -> None:
        if self._h is not None:
            self._lib.host_free(self._h)

    def supply(self, on: bool, at_us: int) -> None:
        self._lib.host_supply(self._h, on, at_us)

    def call(self, name: str, on: bool, at_us: int) -> None:
        self._lib.host_call(self._h, self._calls[name], on, at_us)

    def sensor(self, name: str, signal: str | int, at_us: int) -> None:
        name, _, trouble = name.partition("-")
        if trouble:
            self._lib.host_trouble(self._h, int(name) - 1, signal == "short", at_us)
            return
        millivolts = SIGNAL_MV[signal] if isinstance(signal, str) else round(signal / 1_000)
        self._lib.host_sensor(self._h, int(name) - 1, millivolts, at_us)

    def connect(self, send: Callable[[str, bytes, int], None]) -> None:
        """Where questions to the Modbus sensor go."""
        self._send = send

    def heard(self, name: str, data: bytes, at_us: int) -> None:
        """An answer whose last byte is over now: taken as over at once, in the ticks that come."""
        for byte in data:
            self._lib.host_bus(self._h, byte, at_us)

    def _ask(self) -> None:
        at, question = ctypes.c_int64(), ctypes.create_string_buffer(8)
        while self._lib.host_asks(self._h, question, ctypes.byref(at)):
            self._send(self._on_bus, question.raw, at.value)

    def button(self, pressed: bool, at_us: int) -> None:
        self._lib.host_button(self._h, pressed, at_us)

    def advance(self, to_us: int) -> list[TerminalChange]:
        found: list[TerminalChange] = []
        # The port keeps only so many changes, and the light makes many.
        while self._now_us + _STEP_US < to_us:
            self._now_us += _STEP_US
            found += self._advance(self._now_us)
        self._now_us = max(self._now_us, to_us)
        return found + self._advance(to_us)

    def _advance(self, to_us: int) -> list[TerminalChange]:
        self._lib.host_advance(self._h, to_us)
        self._ask()
        found, one = [], _Change()
        while self._lib.host_take(self._h, ctypes.byref(one)):
            name = self._names.get(TERMINALS[one.terminal])
            if name is not None:
                if name in self._shown:
                    self._shown[name] = bool(one.on)
                found.append(TerminalChange(one.at_us, name, bool(one.on)))
        return found

    def next_change_us(self) -> int:
        return self._lib.host_next(self._h)

    def terminals(self) -> dict[str, bool]:
        return dict(self._shown)

    # -- for tests of the firmware itself --

    @property
    def mode(self) -> Mode:
        return MODES[self._lib.host_mode(self._h)]

    @property
    def light(self) -> bool:
        return self._lib.host_light(self._h)

    @property
    def alive(self) -> bool:
        return self._lib.host_alive(self._h)

    @property
    def resets(self) -> int:
        return self._lib.host_resets(self._h)

    @property
    def store(self) -> bytes:
        buffer = ctypes.create_string_buffer(STORE_BYTES)
        self._lib.host_store(self._h, buffer)
        return buffer.raw

    @store.setter
    def store(self, value: bytes) -> None:
        self._lib.host_put_store(self._h, value)

    def reset(self) -> None:
        """The controller alone is reset, its supply being good."""
        self._lib.host_reset(self._h)

    def tear(self, byte: int) -> None:
        """The electronics die in the middle of the n-th byte that is written from now on."""
        self._lib.host_tear(self._h, byte)
