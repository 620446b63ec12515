"""The board's side of a Modbus sensor: it asks, waits for the answer, and makes a reading of it.

Written from the public documents and the words of the profile format, apart
from the server that the simulated fixture plays; they share bytes only.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from bench.simulated import rtu
from bench.simulated.draw import Draw
from firmware_ref.parameters import Interval, Modbus, Output, Parameters, Sensor

#: How soon after the supply it asks for the first time; ours.
_FIRST_US = (20_000, 60_000)
#: Of the time that a board may take to learn of its sensor: how often it asks, how long it waits for an answer.
_PERIOD_PART, _PATIENCE_PART = 0.6, 0.3
_LEARN_US = (150_000, 800_000)


@dataclass(frozen=True, slots=True)
class Wrongs:
    """What is wrong with the way the board asks and reads."""

    takes_bad_crc: bool = False
    ignores_exceptions: bool = False
    ignores_fault: bool = False
    swaps_bytes: bool = False
    scale_off: bool = False
    never_silent: bool = False
    never_asks: bool = False


def learn_us(parameters: Parameters) -> int:
    """How late this board may learn what its Modbus sensor says; 0 where it has none.  Ours: the profile states none.

    A twelfth of the narrowest of its timings, so that it keeps them all the same; on a slow bus as long as it takes.
    """
    if not parameters.buses:
        return 0
    timing = parameters.timing
    spans = [
        timing.clear,
        timing.hold,
        timing.return_,
        *(s for o in parameters.outputs for s in (o.trip, o.loss)),
    ]
    widths = [s.width_us for s in (*spans, timing.trip, timing.loss) if s is not None]
    least, most = _LEARN_US
    talk_us = max(_talk_us(modbus) for modbus in parameters.buses.values())
    return max(least, round(4 * talk_us), min([most, *(w // 12 for w in widths)]))


def _registers(modbus: Modbus) -> tuple[int, int]:
    """The first register that it has to read, and how many: both in one question."""
    named = [n for n in (modbus.concentration, modbus.status) if n is not None]
    return min(named), max(named) - min(named) + 1


def _talk_us(modbus: Modbus) -> float:
    """How long a question and its answer take."""
    characters = 8 + 5 + 2 * _registers(modbus)[1]
    return characters * rtu.character_us(modbus.baud) + 2 * rtu.silence_us(modbus.baud)


def allowing(parameters: Parameters, late_us: int) -> Parameters:
    """What the board has left of its timings, when it learns of its sensor so late."""
    if not late_us:
        return parameters

    def less(span: Interval | None) -> Interval | None:
        if span is None or span.width_us <= 2 * late_us:
            return span
        return Interval(span.min_us + late_us if span.min_us else 0, span.max_us - late_us)

    def output(one: Output) -> Output:
        return replace(one, trip=less(one.trip), loss=less(one.loss))

    timing = parameters.timing
    return replace(
        parameters,
        outputs=tuple(map(output, parameters.outputs)),
        timing=replace(
            timing,
            trip=less(timing.trip),
            clear=less(timing.clear),
            hold=less(timing.hold),
            loss=less(timing.loss),
            return_=less(timing.return_),
        ),
    )


class Poller:
    """Asks one sensor.  `read(signal, at_us)`: a count, or the way in which the sensor is lost."""

    def __init__(
        self, sensor: Sensor, late_us: int, draw: Draw, wrongs: Wrongs, read: Callable[[str | int, int], None]
    ) -> None:
        assert sensor.modbus is not None
        self.modbus: Modbus = sensor.modbus
        self._draw = draw
        self._wrongs = wrongs
        self._read = read
        self._period_us = round(late_us * _PERIOD_PART)
        self._patience_us = round(late_us * _PATIENCE_PART)
        self._first, self._count = _registers(self.modbus)
        self._question = rtu.read_request(self.modbus.address, self.modbus.function, self._first, self._count)
        self._ask_us: int | None = None
        self._give_up_us: int | None = None
        self._last: int = 0

    def start(self, at_us: int) -> None:
        """The supply is there."""
        self._ask_us = None if self._wrongs.never_asks else at_us + self._draw.chance(*_FIRST_US)
        self._give_up_us = None

    def stop(self) -> None:
        """The supply is gone."""
        self._ask_us = self._give_up_us = None

    def due_us(self) -> int | None:
        """When it has something to do."""
        return self._ask_us if self._give_up_us is None else self._give_up_us

    def run(self, at_us: int) -> bytes:
        """It is time: the bytes to send, if any."""
        if self._give_up_us is not None:
            self._give_up_us = None
            self._read("silent", at_us)
            return b""
        self._ask_us = at_us + self._period_us
        self._give_up_us = at_us + self._patience_us
        return self._question

    def heard(self, data: bytes, at_us: int) -> None:
        """An answer, complete by the silence after it."""
        if self._give_up_us is None:
            return  # nobody asked any more
        self._give_up_us = None
        if self._wrongs.never_silent:
            self._ask_us = at_us
        self._read(self._sense(data), at_us)

    def _sense(self, data: bytes) -> str | int:
        wrongs, modbus = self._wrongs, self.modbus
        if not rtu.sound(data) and not wrongs.takes_bad_crc:
            return "bad-crc"
        if data[0] != modbus.address:
            return "bad-crc"
        if data[1] == modbus.function | 0x80:
            return self._last if wrongs.ignores_exceptions else "exception"
        if data[1] != modbus.function or data[2] != 2 * self._count or len(data) != 5 + data[2]:
            return "bad-crc"
        status = 0 if modbus.status is None else self._register(data, modbus.status)
        if not wrongs.ignores_fault:
            for word in ("fault", "end-of-life"):
                if status & modbus.status_of(word):
                    return word
        self._last = self._register(data, modbus.concentration)
        if wrongs.swaps_bytes:
            self._last = int.from_bytes(self._last.to_bytes(2, "big"), "little")
        if wrongs.scale_off:
            self._last //= 10
        return self._last

    def _register(self, data: bytes, number: int) -> int:
        at = 3 + 2 * (number - self._first)
        return int.from_bytes(data[at : at + 2], "big")
