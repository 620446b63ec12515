"""The device role: common commands, errors, status, guarded messages, queries that wait."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.scpi import guard
from bench.scpi.device import Answer, Clockwork, Device, Parameters, Wait
from bench.scpi.errors import ScpiError
from bench.scpi.lines import Response, ResponseReader
from bench.scpi.status import ErrorQueue


class Instrument:
    """Counts what it is told, and has a query that waits."""

    def __init__(self) -> None:
        self.device = Device("mitbench,TEST,0,1", Clockwork(lambda: 7, lambda: 1234))
        self.counted = 0
        self.device.add("COUNt", self._count)
        self.device.add("COUNt?", lambda _: str(self.counted))
        self.device.add("FAIL", self._fail)
        self.device.add("WAIT?", self._wait)

    def _count(self, parameters: Parameters) -> None:
        self.counted += 1

    def _fail(self, parameters: Parameters) -> None:
        raise ScpiError(-222)

    def _wait(self, parameters: Parameters) -> Answer:
        return Wait(lambda: "nothing") if self.device.may_wait else "at once"

    def __call__(self, data: bytes) -> bytes:
        return self.device.receive(data)

    def guarded(self, identity: int, message: str) -> guard.Reply:
        found = ResponseReader().feed(self(guard.request(identity, message)))
        (response,) = found
        assert isinstance(response, Response)
        reply = guard.read_reply(response.data)
        assert reply is not None
        return reply


@pytest.fixture
def at() -> Instrument:
    return Instrument()


def test_common_commands(at: Instrument) -> None:
    assert at(b"*IDN?\n") == b"mitbench,TEST,0,1\n"
    assert at(b"*ESE 36;*ESE?;*SRE 32;*SRE?;*OPC?;:SYST:VERS?\n") == b"36;32;1;1999.0\n"
    assert at(b"*OPC;*ESR?;*ESR?\n") == b"1;0\n"
    assert at(b"*WAI;:STAT:PRES;:STAT:OPER?;:STAT:QUES:ENAB 5;ENAB?;COND?\n") == b"0;5;0\n"
    assert at(b"STAT:PRES;:STAT:QUES:ENAB?\n") == b"0\n"  # SCPI-1999, volume 2, 20.2 (from memory)


def test_headers_in_any_case_and_form(at: Instrument) -> None:
    for text in (b"syst:err?", b"SYSTem:ERRor:NEXT?", b":system:error?", b"SYST:ERR:COUN?"):
        assert at(text + b"\n") in (b'0,"No error"\n', b"0\n")
    assert at(b"SYSTE:ERR?\n") == b""
    assert at(b"SYST:ERR?;:SYST2:ERR?\n") == b""
    assert at(b"SYST:ERR?;ERR?\n") == b'-113,"Undefined header";-113,"Undefined header"\n'


def test_errors_set_status(at: Instrument) -> None:
    at(b"*ESE 32;*SRE 32\n")
    at(b"NOSUCH\n")
    assert at(b"*STB?\n") == b"100\n"  # errors wait 4, event summary 32, service request 64
    assert at(b"*ESR?;*ESR?\n") == b"32;0\n"
    at(b"FAIL\n")
    assert at(b"*ESR?\n") == b"16\n"
    assert at(b"SYST:ERR:COUN?\n") == b"2\n"
    at(b"*CLS\n")
    assert at(b"SYST:ERR?;*STB?\n") == b'0,"No error";0\n'


def test_parameters_too_many_and_too_few(at: Instrument) -> None:
    at(b"*ESE\n*ESE 1,2\n*CLS 1\n")
    assert at(b"SYST:ERR?;ERR?;ERR?\n") == (
        b'-109,"Missing parameter";-108,"Parameter not allowed";-108,"Parameter not allowed"\n'
    )


def test_a_line_with_a_mistake_does_nothing(at: Instrument) -> None:
    at(b"COUN;NOSUCH\nCOUN;1\n")
    assert at.counted == 0
    at(b"COUN;FAIL;COUN\n")
    assert at.counted == 1


def test_the_queue_overflows_at_its_end() -> None:
    queue = ErrorQueue(3)
    for number in (-101, -102, -103, -104):
        queue.push(number)
    assert [queue.pop() for _ in range(4)] == [
        '-101,"Invalid character"', '-102,"Syntax error"', '-350,"Queue overflow"', '0,"No error"',
    ]  # fmt: skip


def test_bad_bytes_and_long_lines_are_errors(at: Instrument) -> None:
    at(b"\xff\n" + b"x" * 300 + b"\n")
    assert at(b"SYST:ERR?;ERR?\n") == b'-101,"Invalid character";-363,"Input buffer overrun"\n'


def test_a_guarded_message_runs_once_however_often_it_is_sent(at: Instrument) -> None:
    first = at.guarded(5, "COUN;COUN?")
    assert first == guard.Reply(5, guard.request_crc(5, "COUN;COUN?"), 7, 0, 1234, "1")
    assert at.guarded(5, "COUN;COUN?") == first
    assert at.counted == 1
    assert at.guarded(6, "COUN;COUN?").response == "2"
    assert at(b"SYST:GUAR:LAST?\n") == b"6\n"


def test_an_identity_with_another_message_is_refused(at: Instrument) -> None:
    at.guarded(5, "COUN")
    assert at.guarded(5, "COUN;COUN").error == -360
    assert at.counted == 1


def test_identity_0_is_run_every_time(at: Instrument) -> None:
    at.guarded(0, "COUN")
    at.guarded(0, "COUN")
    assert at.counted == 2
    assert at(b"SYST:GUAR:LAST?\n") == b"0\n"


def test_a_guarded_message_tells_its_error(at: Instrument) -> None:
    assert at.guarded(1, "FAIL").error == -222
    assert at.guarded(2, "NOSUCH?").error == -113
    assert at.guarded(3, 'SYST:GUAR? 9,0,"COUN"').error == -360
    assert at.guarded(4, "*IDN?;COUN?").response == "mitbench,TEST,0,1;0"


@given(st.integers(0, 300), st.sampled_from(["drop", "double", "flip"]), st.integers(0, 7))
def test_a_damaged_guarded_message_is_never_carried_out_differently(at_byte: int, how: str, bit: int) -> None:
    request = guard.request(17, "COUN")
    at_byte %= len(request) - 1  # the LF itself only joins lines
    at = Instrument()
    byte = request[at_byte]
    damaged = {"drop": b"", "double": bytes([byte, byte]), "flip": bytes([byte ^ (1 << bit)])}[how]
    at(request[:at_byte] + damaged + request[at_byte + 1 :])
    at(b"\n" + request)
    assert at.counted == 1


def test_a_query_that_waits_is_ended_by_input(at: Instrument) -> None:
    assert at(b"*OPC?;:WAIT?\n") == b""
    assert at.device.waiting
    assert at(b"*") == b"1;nothing\n"
    assert at(b"IDN?\n") == b"mitbench,TEST,0,1\n"
    assert at(b"WAIT?\n*OPC?\n") == b"nothing\n1\n"
    assert at(b"WAIT?;*OPC?\n") == b"at once;1\n"


def test_a_guarded_query_that_waits(at: Instrument) -> None:
    assert at(guard.request(3, "COUN?;:WAIT?")) == b""
    (response,) = ResponseReader().feed(at.device.finish("something"))
    reply = guard.read_reply(response.data)  # type: ignore[union-attr]
    assert reply is not None
    assert reply.response == "0;something"
    assert at.guarded(3, "COUN?;:WAIT?") == reply
    assert at(guard.request(4, "WAIT?;:COUN?")) != b""
    assert at(guard.request(5, "WAIT?")[:-1] + b";*OPC?\n") != b""


def test_after_a_boot_nothing_is_remembered(at: Instrument) -> None:
    at.guarded(3, "COUN")
    at(b"*ESE 1;FAIL\nhalf a li")
    at.device.power_on()
    assert at(b"SYST:ERR?;ERR?;:SYST:GUAR:LAST?;*ESR?\n") == b'-500,"Power on";0,"No error";0;128\n'


@given(st.binary(max_size=300))
def test_no_bytes_make_a_device_raise(data: bytes) -> None:
    at = Instrument()
    at(data)
    at(b"\n*CLS\n")
    assert at(b"*OPC?\n") == b"1\n"


@given(
    st.integers(0, guard.IDENTITY_LIMIT),
    st.integers(0, 0xFFFF),
    st.text(st.characters(min_codepoint=32, max_codepoint=126), max_size=100),
)
def test_replies_come_back(identity: int, crc: int, text: str) -> None:
    written = guard.reply(identity, crc, 3, -222, 99, text).encode("ascii")
    assert guard.read_reply(written) == guard.Reply(identity, crc, 3, -222, 99, text)


@given(st.data())
def test_no_damaged_reply_is_taken(data: st.DataObject) -> None:
    written = guard.reply(17, 0x3A5C, 3, 0, 123456, "0").encode("ascii")
    at_byte = data.draw(st.integers(0, len(written) - 1))
    byte = written[at_byte]
    damaged = data.draw(
        st.sampled_from([b"", bytes([byte, byte]), *(bytes([byte ^ (1 << b)]) for b in range(8))])
    )
    assert guard.read_reply(written[:at_byte] + damaged + written[at_byte + 1 :]) is None
