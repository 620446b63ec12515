"""The simulated fixture's bus channel: the refrigerant sensor as a Modbus RTU server.

Bytes of the board come with the time of each; a frame ends with the silence
after it.  One relay joins the bus to the board, once the line is idle.  A new
state is there at once and whole: a question that has come to its end before
is answered with the state before.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

from bench.simulated import rtu
from bench.simulated.agenda import Agenda

#: The states in which it does not answer rightly.
FAILURES = ("SIL", "CRC", "EXC")
#: The relay that joins the bus: operate and release, and how sharply its second pole tells.
_RELAY_US = 5_000
_LOOK_US = 250
#: From the end of a question's silence to the answer: the controller's loop; ours.
_TURN_US = 200
_LONGEST_FRAME = 256
_REGISTER = 1 << 16

Emit = Callable[[str, int, str, float, float, int], int]


@dataclass(frozen=True, slots=True)
class Port:
    """How the server is reached."""

    address: int = 1
    baud: int = 9600
    function: int = 4


class Bus:
    """`send(data, end_us)` gives the board an answer whose last byte is over then; `emit` makes a record, times true."""

    def __init__(self, number: int, agenda: Agenda, emit: Emit, send: Callable[[bytes, int], None]) -> None:
        self._number = number
        self._agenda = agenda
        self._emit = emit
        self._send = send
        self.port = Port()
        #: Numbers of the registers with concentration and status.
        self.map: tuple[int, int | None] = (0, None)
        #: What the channel was told: `OPEN`, one of FAILURES, or status x 65536 + concentration.
        self.told: str | int = "OPEN"
        self.parked: str | int | None = None
        self.driven_us = 0
        self._held = 0  # the registers, also while a failure is played
        self._joined = False
        self._seq = 0
        self._turn = 0
        self._met = True  # whether a poll has met the present state
        self._frame = b""
        self._quiet_since_us = -1e9
        self._spoilt = False
        self._stuck = False

    # -- what the commands do ------------------------------------------------------------------

    def drive(self, value: str | int, reference: int, now_us: int) -> None:
        """Bring the channel to a state; one that joins the bus waits until the line is idle."""
        self._turn += 1
        self.driven_us = now_us
        if value != "OPEN" and not self._joined and not self.idle(now_us):
            self.told = value
            self._agenda.at(now_us + 1_000, partial(self._again, self._turn, value, reference))
            return
        self._set(value, reference, now_us)

    def jam(self, on: bool = True) -> None:
        """Something holds the line: it does not read idle."""
        self._stuck = on

    def idle(self, now_us: int) -> bool:
        """Whether nothing was on the line for 3.5 characters."""
        return not self._stuck and now_us - self._quiet_since_us >= rtu.silence_us(self.port.baud)

    def fall(self, now_us: int) -> None:
        """The controller is gone: nobody answers."""
        self._turn += 1
        self.told, self.parked, self._joined, self._seq = "OPEN", None, False, 0

    def reading(self) -> str:
        """The state as on the wire."""
        return str(self.told) if self._joined or self.told == "OPEN" else "OPEN"

    def _again(self, turn: int, value: str | int, reference: int, now_us: int) -> None:
        if turn == self._turn:
            if self.idle(now_us):
                self._set(value, reference, now_us)
            else:
                self._agenda.at(now_us + 1_000, partial(self._again, turn, value, reference))

    def _set(self, value: str | int, reference: int, now_us: int) -> None:
        moves = self._joined is (value == "OPEN")
        self.told = value
        if isinstance(value, int):
            self._held = value
        self._seq = self._emit("APPL", self._number, str(value), now_us, now_us, reference)
        at_us = now_us + _RELAY_US if moves else now_us
        self._met = value == "OPEN"
        self._agenda.at(at_us, partial(self._settled, self._turn, value != "OPEN", moves))

    def _settled(self, turn: int, joined: bool, moved: bool, now_us: int) -> None:
        if turn != self._turn:
            return
        self._joined = joined
        first_us = now_us - _LOOK_US if moved else now_us
        self._emit("POS", self._number, str(self.told), first_us, now_us, self._seq)
        self._emit("TERM", self._number, str(self.told), first_us, now_us, self._seq)

    # -- the server ------------------------------------------------------------------------------

    def heard(self, data: bytes, start_us: float) -> None:
        """The board sends these bytes, one after the other from `start_us` on."""
        character_us = rtu.character_us(self.port.baud)
        if start_us - self._quiet_since_us >= rtu.silence_us(self.port.baud):
            self._frame, self._spoilt = b"", False
        elif not self._frame or start_us - self._quiet_since_us > rtu.gap_us(self.port.baud):
            self._spoilt = True  # into an answer, before the silence after it, or torn
        self._frame = (self._frame + data)[: _LONGEST_FRAME + 1]
        end_us = start_us + len(data) * character_us
        self._quiet_since_us = end_us
        due_us = round(end_us + rtu.silence_us(self.port.baud))
        self._agenda.at(due_us, partial(self._over, end_us))

    def _over(self, end_us: float, now_us: int) -> None:
        """The silence after a frame, unless more came meanwhile."""
        if end_us != self._quiet_since_us:
            return
        frame, self._frame = self._frame, b""
        if not self._joined or self._spoilt or len(frame) > _LONGEST_FRAME or not rtu.sound(frame):
            return
        if frame[0] != self.port.address:
            return  # to another, or a broadcast, which nobody answers
        question = frame[1:-2]
        answer = self.answer(question)
        last_us: float = now_us
        if answer:
            start_us = now_us + _TURN_US
            last_us = start_us + len(answer) * rtu.character_us(self.port.baud)
            self._quiet_since_us = last_us
            self._agenda.at(round(last_us), lambda at_us: self._send(answer, at_us))
        if not self._met and not self._wrong(question):
            self._met = True
            self._agenda.at(round(last_us), partial(self._tell, self._turn))

    def _tell(self, turn: int, now_us: int) -> None:
        """Of the first question that met the state, once it is answered, unless there is another state by then."""
        if turn == self._turn:
            self._emit("POLL", self._number, str(self.told), now_us - _LOOK_US, now_us, self._seq)

    def answer(self, question: bytes) -> bytes:
        """The frame that answers a question (without address and CRC); nothing where it stays silent."""
        if self.told == "SIL":
            return b""
        head = bytes((self.port.address, question[0]))
        code = rtu.DEVICE_FAILURE if self.told == "EXC" else self._wrong(question)
        if code:
            return rtu.sealed(bytes((self.port.address, question[0] | 0x80, code)))
        first, count = (int.from_bytes(question[at : at + 2], "big") for at in (1, 3))
        held = b"".join(self._register(n).to_bytes(2, "big") for n in range(first, first + count))
        frame = rtu.sealed(head + bytes((len(held),)) + held)
        return frame[:-1] + bytes((frame[-1] ^ 0xFF,)) if self.told == "CRC" else frame

    def _wrong(self, question: bytes) -> int:
        """The exception that a question brings; 0 for a right one."""
        if question[0] != self.port.function:
            return rtu.ILLEGAL_FUNCTION
        if len(question) != 5:
            return rtu.ILLEGAL_VALUE
        first, count = (int.from_bytes(question[at : at + 2], "big") for at in (1, 3))
        if not 1 <= count <= rtu.MOST_REGISTERS:
            return rtu.ILLEGAL_VALUE
        named = [n for n in self.map if n is not None]
        if first < min(named) or first + count - 1 > max(named):
            return rtu.ILLEGAL_ADDRESS
        return 0

    def _register(self, number: int) -> int:
        concentration, status = self.map
        if number == concentration:
            return self._held % _REGISTER
        return self._held // _REGISTER if number == status else 0
