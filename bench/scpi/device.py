"""The device role: bytes in, response bytes out; what the commands do is registered by whoever is the device.

Knows the common commands, `SYSTem:ERRor`, the status registers and guarded
messages.  A query may wait (`Wait`): its response comes from `finish`, or
anything received ends it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import NamedTuple, Union

from bench.scpi import guard
from bench.scpi.errors import OPERATION_COMPLETE, ScpiError
from bench.scpi.lines import LineReader, Refused
from bench.scpi.status import ErrorQueue, Status
from bench.scpi.syntax import Parameter, headers, integer, parse, string

Parameters = tuple[Parameter, ...]


class Wait(NamedTuple):
    """The answer of a query that waits: what to answer if input ends the wait."""

    interrupted: Callable[[], str]


Answer = Union[str, None, Wait]
Handler = Callable[[Parameters], Answer]


class Clockwork(NamedTuple):
    """What the device says of itself in every guarded reply."""

    boot: Callable[[], int]
    tick: Callable[[], int]


@dataclass(slots=True)
class _Guarded:
    """A guarded message that is being carried out."""

    identity: int
    crc: int
    error: int = 0
    responses: list[str] = field(default_factory=list)


class Device:
    """One instrument.  `identity`: the four fields of `*IDN?`."""

    def __init__(self, identity: str, clockwork: Clockwork, *, queue: int = 16) -> None:
        self.status = Status(ErrorQueue(queue))
        #: Identity of the guarded message being carried out, 0 outside one.
        self.running = 0
        #: Whether a query asked now may wait: it is the last of its line.
        self.may_wait = False
        self._clockwork = clockwork
        self._reader = LineReader()
        self._handlers: dict[str, Handler] = {}
        self._programs: dict[str, tuple[tuple[Handler, Parameters], ...]] = {}
        self._responses: list[str] = []
        self._guarded: _Guarded | None = None
        self._wait: Wait | None = None
        self._kept: tuple[int, int, str] = (0, 0, "")
        self._guard = self._guard_query  # one bound method, compared by identity
        for pattern, handler in self._common(identity).items():
            self.add(pattern, handler)

    def add(self, pattern: str, handler: Handler) -> None:
        """Register what `pattern` (`ROUTe:CLOSe`, `SYSTem:ERRor[:NEXT]?`) does."""
        for header in headers(pattern):
            self._handlers[header] = handler

    @property
    def waiting(self) -> bool:
        """Whether a query waits for `finish`."""
        return self._wait is not None

    def power_on(self) -> None:
        """Forget everything, as after a boot."""
        self._reader.clear()
        self._responses, self._guarded, self._wait, self.running = [], None, None, 0
        self._kept = (0, 0, "")
        self.status.clear()
        self.status.error(-500)

    # -- bytes --------------------------------------------------------------------------------

    def receive(self, data: bytes) -> bytes:
        """Carry out what `data` completes; the response bytes, perhaps none."""
        out = b""
        if self._wait is not None and data:
            out = self.finish(self._wait.interrupted())
        for line in self._reader.feed(data):
            if self._wait is not None:
                out += self.finish(self._wait.interrupted())
            if isinstance(line, Refused):
                self.status.error(line.number)
            else:
                out += self._line(line.text)
        return out

    def finish(self, response: str) -> bytes:
        """The answer of the query that waits, as bytes."""
        self._wait = None
        if self._guarded is not None:
            self._guarded.responses.append(response)
            response = self._reply(self._guarded)
        self._responses.append(response)
        return self._send()

    def _send(self) -> bytes:
        responses, self._responses = self._responses, []
        return (";".join(responses) + "\n").encode("ascii") if responses else b""

    # -- messages -----------------------------------------------------------------------------

    def _line(self, text: str) -> bytes:
        request = guard.read_request(text)
        try:
            if request is None:
                self._run(self._resolve(text), self._responses, may_wait=True)
            else:
                self.may_wait = True
                self._take(self._guarded_message(*request), self._responses)
        except ScpiError as wrong:
            self.status.error(wrong.number, wrong.detail)
        return b"" if self._wait is not None else self._send()

    def _run(
        self, program: tuple[tuple[Handler, Parameters], ...], responses: list[str], *, may_wait: bool
    ) -> None:
        """Carry out a message; raises ScpiError where one of its commands fails."""
        last = len(program) - 1
        for n, (handler, parameters) in enumerate(program):
            self.may_wait = may_wait and n == last
            self._take(handler(parameters), responses)

    def _take(self, answer: Answer, responses: list[str]) -> None:
        if isinstance(answer, Wait):
            self._wait = answer
        elif answer is not None:
            responses.append(answer)

    def _resolve(self, text: str) -> tuple[tuple[Handler, Parameters], ...]:
        return tuple((self._handler(unit.header), unit.parameters) for unit in parse(text))

    def _inner(self, text: str) -> tuple[tuple[Handler, Parameters], ...]:
        """As `_resolve`, remembered: a host asks the same few messages over and over."""
        program = self._programs.get(text)
        if program is None:
            program = self._resolve(text)
            if any(handler is self._guard for handler, _ in program):
                raise ScpiError(-360, "guarded messages do not nest")
            if len(self._programs) >= 256:
                self._programs.clear()
            self._programs[text] = program
        return program

    def _handler(self, header: str) -> Handler:
        handler = self._handlers.get(header)
        if handler is None:
            plain = header.rstrip("?").rstrip("0123456789") + ("?" if header.endswith("?") else "")
            raise ScpiError(-114 if plain in self._handlers else -113)
        return handler

    # -- guarded messages ---------------------------------------------------------------------

    def _guard_query(self, parameters: Parameters) -> Answer:
        count(parameters, 3)
        try:
            identity = integer(parameters[0], 0, guard.IDENTITY_LIMIT)
            given = integer(parameters[1], 0, 0xFFFF)
        except ScpiError:
            # A doubled digit, most likely.
            raise ScpiError(-360) from None
        return self._guarded_message(identity, given, string(parameters[2]))

    def _guarded_message(self, identity: int, given: int, message: str) -> Answer:
        crc = guard.request_crc(identity, message)
        if given != crc:
            self.status.error(-360)
            return self._format(0, crc, -360, "")
        if identity and identity == self._kept[0]:
            if crc == self._kept[1]:
                return self._kept[2]
            self.status.error(-360, "identity used")
            return self._format(identity, crc, -360, "")
        guarded = self._guarded = _Guarded(identity, crc)
        self.running = identity
        try:
            self._run(self._inner(message), guarded.responses, may_wait=self.may_wait)
        except ScpiError as wrong:
            guarded.error = wrong.number
            self.status.error(wrong.number, wrong.detail)
        return self._wait if self._wait is not None else self._reply(guarded)

    def _reply(self, guarded: _Guarded) -> str:
        self._guarded, self.running = None, 0
        text = self._format(guarded.identity, guarded.crc, guarded.error, ";".join(guarded.responses))
        if guarded.identity:
            self._kept = (guarded.identity, guarded.crc, text)
        return text

    def _format(self, identity: int, crc: int, error: int, response: str) -> str:
        return guard.reply(identity, crc, self._clockwork.boot(), error, self._clockwork.tick(), response)

    # -- commands that every instrument has ---------------------------------------------------

    def _common(self, identity: str) -> dict[str, Handler]:
        status = self.status

        def set_(name: str, high: int) -> Handler:
            def handler(parameters: Parameters) -> None:
                count(parameters, 1)
                setattr(status, name, integer(parameters[0], 0, high))

            return handler

        def complete(parameters: Parameters) -> None:
            count(parameters, 0)
            status.events |= OPERATION_COMPLETE

        found: dict[str, Handler] = {
            "*CLS": _do(status.clear),
            "*ESE": set_("event_enable", 255),
            "*ESE?": _say(lambda: status.event_enable),
            "*ESR?": _say(status.take_events),
            "*IDN?": _say(lambda: identity),
            "*OPC": complete,
            "*OPC?": _say(lambda: 1),
            "*SRE": set_("service_enable", 255),
            "*SRE?": _say(lambda: status.service_enable),
            "*STB?": _say(status.byte),
            "*WAI": _do(lambda: None),
            "SYSTem:ERRor[:NEXT]?": _say(status.errors.pop),
            "SYSTem:ERRor:COUNt?": _say(lambda: len(status.errors)),
            "SYSTem:VERSion?": _say(lambda: "1999.0"),
            "SYSTem:BOOT?": _say(self._clockwork.boot),
            "SYSTem:TICK?": _say(self._clockwork.tick),
            "SYSTem:GUARd?": self._guard,
            "SYSTem:GUARd:LAST?": _say(lambda: self._kept[0]),
        }
        # SCPI-1999 requires these registers; this instrument reports nothing through them.
        enables = {name: _Mask() for name in ("OPERation", "QUEStionable")}

        def preset() -> None:
            for mask in enables.values():
                mask.clear()

        found["STATus:PRESet"] = _do(preset)
        for name, masks in enables.items():
            found[f"STATus:{name}[:EVENt]?"] = _say(lambda: 0)
            found[f"STATus:{name}:CONDition?"] = _say(lambda: 0)
            found[f"STATus:{name}:ENABle"] = masks.put
            found[f"STATus:{name}:ENABle?"] = _say(masks.get)
        return found


class _Mask:
    value = 0

    def clear(self) -> None:
        self.value = 0

    def put(self, parameters: Parameters) -> None:
        count(parameters, 1)
        self.value = integer(parameters[0], 0, 32767)

    def get(self) -> int:
        return self.value


def count(parameters: Parameters, low: int, high: int | None = None) -> None:
    """That many parameters, else ScpiError."""
    if len(parameters) < low:
        raise ScpiError(-109)
    if len(parameters) > (low if high is None else high):
        raise ScpiError(-108)


def _say(what: Callable[[], object]) -> Handler:
    def handler(parameters: Parameters) -> str:
        count(parameters, 0)
        return str(what())

    return handler


def _do(what: Callable[[], None]) -> Handler:
    def handler(parameters: Parameters) -> None:
        count(parameters, 0)
        what()

    return handler
