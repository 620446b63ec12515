"""The harness by ctypes: cores, nets, relays, 24 VAC, sensor signals and the host's link, in true time."""

from __future__ import annotations

import ctypes
from ctypes import (
    POINTER,
    c_bool,
    c_char,
    c_char_p,
    c_double,
    c_int,
    c_int32,
    c_int64,
    c_uint8,
    c_uint64,
    c_void_p,
)
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple

from tests.cosim import toolchain

#: What the log tells (`enum` in bench.h).
POLE, NODE, NET, POWER, RESET, HALT = range(6)
#: Causes of a reset: the bits of MCUSR.
BY_POWER, BY_PIN, BY_BROWN_OUT, BY_WATCHDOG = range(4)
#: What a converter's channel reads.
READS_NOTHING, READS_RMS, READS_LADDER, READS_TERMINAL = range(4)
TO_CORE, TO_HOST = 0, 1
DROP, FLIP = 0, 1

US = 1_000
MS = 1_000_000
S = 1_000_000_000


class Truth(NamedTuple):
    """One entry of the log: what truly happened, at `ns`, when core 0 was at `cycle`."""

    ns: int
    cycle: int
    what: int
    id: int
    value: int


class _Entry(ctypes.Structure):
    _fields_ = [("ns", c_int64), ("cycle", c_uint64), ("what", c_int32), ("id", c_int32), ("value", c_int32)]


class Halted(AssertionError):
    """A core crashed, or slept with its interrupts off: a fault of an image or of the harness."""


#: Function -> (result, arguments after the bench).
_SIGNATURES: dict[str, tuple[Any, list[Any]]] = {
    "bench_run": (None, [c_int64]),
    "bench_time": (c_int64, []),
    "bench_wrong": (c_char_p, []),
    "bench_log": (c_int64, [c_int64, POINTER(_Entry), c_int64]),
    "core_add": (c_int, [c_char_p, c_double, c_double, c_char_p]),
    "core_set_power": (None, [c_int, c_bool, c_int]),
    "core_reset": (None, [c_int, c_int]),
    "core_cut_at_write": (None, [c_int, c_int]),
    "core_eeprom": (None, [c_int, POINTER(c_uint8), c_int, c_int, c_bool]),
    "core_register": (c_int, [c_int, c_int]),
    "core_poke": (None, [c_int, c_int, c_int]),
    "core_cycles": (c_uint64, [c_int]),
    "core_powered": (c_bool, [c_int]),
    "net_add": (c_int, [c_int, c_bool]),
    "net_join": (c_bool, [c_int, c_int, c_char, c_int]),
    "net_force": (None, [c_int, c_int]),
    "net_level": (c_int, [c_int]),
    "net_contentions": (c_int, [c_int]),
    "relay_add": (c_int, [c_int, c_int64, c_int64, c_int64, c_int64, c_int64, c_int]),
    "pole_add": (c_int, [c_bool, c_int64]),
    "pole_force": (None, [c_int, c_int]),
    "pole_closed": (c_bool, [c_int]),
    "contact_add": (c_bool, [c_int, c_int]),
    "couple_add": (c_bool, [c_int, c_int, c_int64]),
    "mains_set": (None, [c_double, c_double, c_int64]),
    "mains_on": (None, [c_bool]),
    "node_add": (c_int, []),
    "branch_add": (c_bool, [c_int, c_int, c_int]),
    "node_hot": (c_bool, [c_int]),
    "level_add": (c_int, [c_double, c_int64, c_int64]),
    "opto_add": (c_bool, [c_int, c_int, c_int]),
    "relay_on_rail": (None, []),
    "supply_from": (None, [c_int, c_int, c_int64, c_int64, c_int64]),
    "sensor_add": (c_int, [c_int, c_int, c_int, c_int, c_char, *[c_int] * 5]),
    "sensor_values": (None, [c_int, *[c_double] * 8]),
    "sensor_bias": (None, [c_int, c_int, c_double, c_double]),
    "channel_reads": (None, [c_int, c_int, c_int, c_int]),
    "converter_at": (None, [c_int, c_double]),
    "bus_join": (None, [c_int, c_int]),
    "bus_end_add": (None, [c_int, c_char, c_int]),
    "bus_counted": (c_int64, [c_int]),
    "shift_at": (None, [c_int, c_int]),
    "shift_drives": (None, [c_int, c_int]),
    "link_to": (None, [c_int, c_int64]),
    "link_send": (None, [c_char_p, c_int64]),
    "link_take": (c_int64, [POINTER(c_char), c_int64]),
    "link_damage": (c_bool, [c_int, c_int64, c_int64, c_int, c_int]),
    "link_counted": (c_int64, [c_int]),
}


@cache
def _library() -> ctypes.CDLL:
    library = ctypes.CDLL(str(toolchain.harness()))
    library.bench_create.restype = c_void_p
    library.bench_create.argtypes = [c_uint64, c_int64]
    library.bench_destroy.argtypes = [c_void_p]
    for name, (result, arguments) in _SIGNATURES.items():
        function = getattr(library, name)
        function.restype, function.argtypes = result, [c_void_p, *arguments]
    return library


class Simulator:
    """One circuit.  Every function of the harness is a method of the same name without the bench in front."""

    def __init__(self, seed: int = 0, quantum_ns: int = 50 * US) -> None:
        self._library = _library()
        self._bench = c_void_p(self._library.bench_create(seed, quantum_ns))
        self._read = 0
        self._buffer = ctypes.create_string_buffer(65_536)

    def __del__(self) -> None:
        bench, self._bench = getattr(self, "_bench", None), None
        if bench:
            self._library.bench_destroy(bench)

    def __getattr__(self, name: str) -> Any:
        if name not in _SIGNATURES:
            raise AttributeError(name)
        function, bench = getattr(self._library, name), self._bench

        def call(*values: Any) -> Any:
            result = function(bench, *values)
            # What cannot be added any more is a mistake in the wiring, and must not go unnoticed.
            if result == -1 or (name.endswith(("_add", "_join", "_damage")) and result is False):
                raise ValueError(f"{name}{values} was refused by the harness")
            return result

        self.__dict__[name] = call
        return call

    # -- time ---------------------------------------------------------------------------------

    @property
    def now(self) -> int:
        """True time in ns."""
        return int(self.bench_time())

    def run(self, until_ns: int) -> None:
        """Go to `until_ns`, or to the first instant at which the host has something to read.  Raises Halted."""
        self.bench_run(until_ns)
        if wrong := self.bench_wrong():
            raise Halted(wrong.decode().strip())

    def run_for(self, span_ns: int) -> None:
        """Go on for a span, whatever the host could read."""
        end = self.now + span_ns
        kept = b""
        while self.now < end:
            self.run(end)
            kept += self.take()
        self.kept = kept

    #: What was sent to the host in the last `run_for`.
    kept = b""

    # -- cores --------------------------------------------------------------------------------

    def add_core(self, mcu: str, image: Path, hz: float = 16e6, drift_hz_per_s: float = 0.0) -> int:
        return int(self.core_add(mcu.encode(), hz, drift_hz_per_s, str(image).encode()))

    def add_net(self, *pins: tuple[int, str], pull: int = -1, watched: bool = False) -> int:
        """A net that joins pins, each (core, name like `PA3`)."""
        net = int(self.net_add(pull, watched))
        for core, pin in pins:
            self.net_join(net, core, pin[1].encode(), int(pin[2]))
        return net

    def store(self, core: int, data: bytes, offset: int = 0) -> None:
        """Write a core's EEPROM."""
        self.core_eeprom(core, (c_uint8 * len(data)).from_buffer_copy(data), offset, len(data), True)

    def recall(self, core: int, offset: int, size: int) -> bytes:
        """Read a core's EEPROM."""
        data = (c_uint8 * size)()
        self.core_eeprom(core, data, offset, size, False)
        return bytes(data)

    def poke(self, core: int, address: int, value: int, size: int = 1) -> None:
        """Change registers or SRAM, lowest byte first."""
        for place, byte in enumerate(value.to_bytes(size, "little")):
            self.core_poke(core, address + place, byte)

    # -- host ---------------------------------------------------------------------------------

    def send(self, data: bytes) -> None:
        self.link_send(data, len(data))

    def take(self) -> bytes:
        count = self.link_take(self._buffer, len(self._buffer))
        return self._buffer.raw[:count]

    def log(self) -> list[Truth]:
        """What happened since the last call."""
        entries: list[Truth] = []
        some = (_Entry * 4096)()
        while count := self.bench_log(self._read, some, len(some)):
            entries += [Truth(e.ns, e.cycle, e.what, e.id, e.value) for e in some[:count]]
            self._read += count
        return entries
