"""One sensor terminal of the fixture: buffered reference, filter, series resistor, and the relays around them.

A step takes the filter's time: the board sees it climb in small steps, and
the read-back's interval reaches from the command to where it has settled
within the bound.  Relays put the terminal open, short, or to an end-of-line
resistor.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable
from functools import partial

from bench.simulated.agenda import Agenda
from bench.simulated.mains import LOOK_US

#: Time constant of the output filter, and the bound that a signal has settled to (hardware/channels.csv).
FILTER_US = 1_000
BOUND_UV = 5_000
_STEPS = 8
#: Output and both read-backs are off by at most this, each; together they stay within the bound.
_OFFSET_UV = 2_000
#: `signal-drift`: the reference has wandered off by this much.
_DRIFT_UV = 40_000
_RELAY_US = (2_000, 6_000)
_SETTLE_US = 5_000
#: The signal settles this long before its relay connects it.
_PREPARE_US = 8_000
_SKEW_US = 300

_WORDS = {"OPEN": "open", "SHOR": "short", "NORM": "normal", "LEAK": "leak"}


class Signal:
    """`put(signal, at_us)` tells the board; `emit` makes a record, times true."""

    def __init__(
        self,
        number: int,
        agenda: Agenda,
        chance: random.Random,
        emit: Callable[[str, int, str, float, float, int], int],
        drifted: bool,
        put: Callable[[str | int, int], None],
    ) -> None:
        self._number = number
        self._agenda = agenda
        self._chance = chance
        self._emit = emit
        self._put = put
        self._drifted = drifted
        self._offset_uv = chance.randint(-_OFFSET_UV, _OFFSET_UV) + (_DRIFT_UV if drifted else 0)
        self._ahead_uv = chance.randint(-_OFFSET_UV // 2, _OFFSET_UV // 2)
        self._behind_uv = chance.randint(-_OFFSET_UV // 2, _OFFSET_UV // 2)
        self.told: str | int = "OPEN"
        #: What was taken off in a cut of the supply and is to come back.
        self.parked: str | int | None = None
        self.driven_us = 0
        self._seen: str | int = "OPEN"  # by the board
        self._turn = 0
        self._seq = 0

    def drive(self, value: str | int, reference: int, now_us: int) -> None:
        """Bring the terminal to `OPEN`, `SHOR`, `NORM`, `LEAK` or a voltage in uV."""
        before, self.told, self.driven_us = self._seen, value, now_us
        self._turn += 1
        self._seq = self._emit("APPL", self._number, str(value), now_us, now_us, reference)
        target = self._true(value)
        if target == before:
            self._read_back(self._turn, now_us, now_us, now_us)
        elif isinstance(target, int) and isinstance(before, int):
            self._climb(before, target, now_us)
        else:
            prepare_us = _PREPARE_US if isinstance(target, int) else 0
            at_us = now_us + prepare_us + self._chance.randint(*_RELAY_US)
            self._agenda.at(at_us, partial(self._show, self._turn, target))
            first, last = at_us - _SKEW_US - LOOK_US, at_us + _SKEW_US
            self._agenda.at(at_us + _SETTLE_US, partial(self._read_back, self._turn, first, last))

    def fall(self, now_us: int) -> None:
        """The controller is gone: the terminal is open."""
        self._turn += 1
        self.told, self.parked, self._seq = "OPEN", None, 0
        self._show(self._turn, "OPEN", now_us)

    def reading(self) -> str:
        """What is read at the terminal, as on the wire."""
        return str(self._seen + self._behind_uv) if isinstance(self._seen, int) else self._seen

    def _true(self, value: str | int) -> str | int:
        """What the terminal really comes to."""
        if isinstance(value, int):
            return max(0, value + self._offset_uv)
        return "OPEN" if self._drifted and value in ("NORM", "LEAK") else value

    def _climb(self, before_uv: int, target_uv: int, now_us: int) -> None:
        step_uv = target_uv - before_uv
        span_us = max(0.0, FILTER_US * math.log(abs(step_uv) / BOUND_UV))
        for n in range(1, _STEPS):
            part_us = span_us * n / _STEPS
            uv = round(target_uv - step_uv * math.exp(-part_us / FILTER_US))
            self._agenda.at(now_us + round(part_us), partial(self._show, self._turn, uv))
        end_us = now_us + math.ceil(span_us)
        self._agenda.at(end_us, partial(self._show, self._turn, target_uv))
        self._agenda.at(end_us + LOOK_US, partial(self._read_back, self._turn, now_us, end_us))

    def _show(self, turn: int, signal: str | int, now_us: int) -> None:
        if turn == self._turn and signal != self._seen:
            self._seen = signal
            self._put(_WORDS[signal] if isinstance(signal, str) else signal, now_us)

    def _read_back(self, turn: int, first_us: int, last_us: int, now_us: int) -> None:
        if turn != self._turn:
            return
        ahead = str(self._seen + self._ahead_uv) if isinstance(self._seen, int) else self._seen
        self._emit("POS", self._number, ahead, first_us, last_us, self._seq)
        self._emit("TERM", self._number, self.reading(), first_us, last_us, self._seq)
