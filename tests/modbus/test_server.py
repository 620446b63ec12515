"""What the fixture answers as a Modbus RTU server: the same of the simulated fixture and of the firmware."""

from __future__ import annotations

import pytest

from bench.simulated import rtu
from tests.modbus import frames
from tests.modbus.servers import Server

STANDARD = "17,9600,EVEN,4"
READ = frames.read(17, 4, 0, 3)


def registers(answer: bytes) -> list[int]:
    """The registers in a sound answer."""
    assert answer[-2:] == frames.crc(answer[:-2])
    assert answer[2] == len(answer) - 5
    return [int.from_bytes(answer[at : at + 2], "big") for at in range(3, len(answer) - 2, 2)]


def test_the_crc_of_the_catalogue_and_of_the_document() -> None:
    assert rtu.crc16(b"123456789") == frames.CHECK
    assert int.from_bytes(frames.crc(b"123456789"), "little") == frames.CHECK
    assert rtu.sealed(bytes((2, 7))) == frames.APPENDIX
    for frame in (frames.READ_HOLDING, frames.HELD, frames.READ_INPUT, frames.INPUT, frames.READ_TEN):
        assert rtu.sound(frame)
        assert frames.crc(frame[:-2]) == frame[-2:]
        assert frames.crc(frame) == b"\0\0"


def test_the_documents_worked_frames(server: Server) -> None:
    server.set_up("1,9600,EVEN,3", "109,107", "REG 100,555")
    assert server.exchange(frames.READ_HOLDING) == frames.HELD
    server.set_up("1,9600,EVEN,4", "8", "REG 10")
    assert server.exchange(frames.READ_INPUT) == frames.INPUT


def test_a_state_is_there_at_once_and_whole(server: Server) -> None:
    server.set_up(STANDARD, "2,0", "REG 250,8")
    assert registers(server.exchange(READ)) == [8, 0, 250]
    assert registers(server.exchange(frames.read(17, 4, 2, 1))) == [250]
    server.state("REG 65534,65535")
    assert registers(server.exchange(READ)) == [65535, 0, 65534]
    # It changes while an answer is on its way: that one is still of the state before.
    server.wait(50_000)
    server.send(READ)
    server.wait(8_000)
    server.say("SOUR:MODB:REG 1,2,(@34)")
    server.wait(100_000)
    assert registers(server.answer()) == [65535, 0, 65534]
    assert registers(server.exchange(READ)) == [2, 0, 1]


@pytest.mark.parametrize(
    ("question", "code"),
    [
        (frames.read(17, 3, 0, 3), 1),
        (frames.framed(17, 6, 0, 2, 0, 3), 1),
        (frames.framed(17, 0x2B, 0x0E, 1, 0), 1),
        (frames.read(17, 4, 0, 4), 2),
        (frames.read(17, 4, 3, 1), 2),
        (frames.read(17, 4, 0xFFFF, 1), 2),
        (frames.read(17, 4, 0, 0), 3),
        (frames.read(17, 4, 0, 126), 3),
        (frames.framed(17, 4, 0, 0, 0), 3),
        (frames.framed(17, 4, 0, 0, 0, 3, 0), 3),
    ],
)  # fmt: skip
def test_what_it_cannot_answer_is_an_exception(server: Server, question: bytes, code: int) -> None:
    server.set_up(STANDARD, "2,0", "REG 250,8")
    assert server.exchange(question) == frames.framed(17, question[1] | 0x80, code)
    assert server.say("SYST:ERR?").startswith("0,")
    assert not [e for e in server.events() if e[1] == "POLL"]  # nobody asked for what the sensor has


@pytest.mark.parametrize(
    "frame",
    [
        READ[:-1] + bytes((READ[-1] ^ 1,)),
        bytes((READ[0], READ[1] ^ 1)) + READ[2:],
        frames.read(16, 4, 0, 3),
        frames.read(0, 4, 0, 3),
        READ[:3],
        frames.crc(b""),
        frames.framed(17, 4, *[0] * 255),
    ],
)  # fmt: skip
def test_what_is_not_for_it_gets_no_answer(server: Server, frame: bytes) -> None:
    server.set_up(STANDARD, "2,0", "REG 250,8")
    assert server.exchange(frame) == b""
    assert registers(server.exchange(READ)) == [8, 0, 250]


def test_ways_to_fail(server: Server) -> None:
    server.set_up(STANDARD, "2,0", "FAIL SIL")
    assert server.exchange(READ) == b""
    server.state("FAIL CRC")
    spoilt = server.exchange(READ)
    assert len(spoilt) == 11
    assert spoilt[-2:] != frames.crc(spoilt[:-2])
    server.state("FAIL EXC")
    assert server.exchange(READ) == frames.framed(17, 0x84, 4)
    server.state("REG 7,1")
    assert registers(server.exchange(READ)) == [1, 0, 7]
    server.state("FAIL CRC")  # what the registers hold stays
    assert registers(server.exchange(READ)[:-2] + frames.crc(spoilt[:3] + bytes((0, 1, 0, 0, 0, 7)))) == [
        1,
        0,
        7,
    ]
    server.say("SOUR:CONT OPEN,(@34)")
    server.wait(100_000)
    assert server.exchange(READ) == b""


@pytest.mark.parametrize("baud", sorted(frames.SILENCE_US))
def test_silence_parts_frames_and_a_gap_spoils_one(server: Server, baud: int) -> None:
    server.set_up(f"17,{baud},NONE,4", "2,0", "REG 250,8")
    silence, gap = frames.SILENCE_US[baud], frames.GAP_US[baud]
    assert registers(server.exchange(READ, {5: 0.9 * gap})) == [8, 0, 250]
    assert server.exchange(READ, {5: 1.15 * gap}) == b""
    assert server.exchange(READ, {5: 0.95 * silence}) == b""
    # A broken-off frame, the silence, then a whole one.
    assert registers(server.exchange(READ[:5] + READ, {5: 1.1 * silence})) == [8, 0, 250]
    # Two frames with too little between them are none.
    assert server.exchange(READ + READ, {8: 0.9 * silence}) == b""


@pytest.mark.parametrize("baud", sorted(frames.SILENCE_US))
def test_the_answer_comes_after_the_silence_and_soon(server: Server, baud: int) -> None:
    server.set_up(f"17,{baud},ODD,4", "2,0", "REG 250,8")
    server.wait(50_000)
    server.send(READ)
    asked = server.now_us()
    while not (answer := server.answer()):
        server.wait(100)
        assert server.now_us() < asked + 200_000
    took = server.now_us() - asked - len(answer) * frames.character_us(baud)
    assert frames.SILENCE_US[baud] - 60 <= took <= frames.SILENCE_US[baud] + 5_000


def test_a_question_too_soon_after_an_answer_is_not_heard(server: Server) -> None:
    server.set_up(STANDARD, "2,0", "REG 250,8")
    for part, heard in ((0.0, False), (0.8, False), (1.2, True)):
        server.wait(50_000)
        server.send(READ)
        while not server.answer():
            server.wait(100)
        server.wait(part * frames.SILENCE_US[9600])
        server.send(READ)
        server.wait(100_000)
        assert bool(server.answer()) is heard


def test_what_is_told_of_a_state(server: Server) -> None:
    server.set_up(STANDARD, "2,0", "REG 250,8")
    assert server.say("FETC? (@34)") == str(8 * 65536 + 250)
    applied, position, terminal = server.events()
    assert [e[1] for e in (applied, position, terminal)] == ["APPL", "POS", "TERM"]
    assert {e[3] for e in (applied, position, terminal)} == {"524538"}
    assert {position[6], terminal[6]} == {applied[0]}
    server.exchange(READ)
    server.exchange(READ)
    (poll,) = server.events()  # the first only
    assert (poll[1], poll[3], poll[6]) == ("POLL", "524538", applied[0])
    assert int(poll[5]) - int(poll[4]) <= 2_000
    for state, word in (("FAIL SIL", "SIL"), ("FAIL CRC", "CRC"), ("FAIL EXC", "EXC")):
        server.state(state)
        server.exchange(READ)
        assert [(e[1], e[3]) for e in server.events()] == [(k, word) for k in ("APPL", "POS", "TERM", "POLL")]
    server.say("*RST")
    server.wait(100_000)
    assert [(e[1], e[3]) for e in server.events()] == [(k, "OPEN") for k in ("APPL", "POS", "TERM")]
    assert server.say("FETC? (@34)") == "OPEN"


def test_port_and_map_only_while_open(server: Server) -> None:
    server.set_up(STANDARD, "2,0", "REG 250,8")
    for line in ("SOUR:MODB:PORT 1,9600,EVEN,4,(@34)", "SOUR:MODB:MAP 0,(@34)"):
        server.say(line)
        assert server.say("SYST:ERR?").startswith("-221,")
    assert registers(server.exchange(READ)) == [8, 0, 250]
    server.say("*RST")
    server.wait(100_000)
    server.state("REG 9,0")  # they stay over a reset
    assert registers(server.exchange(READ)) == [0, 0, 9]


def test_nothing_is_joined_to_a_line_that_is_not_idle(server: Server) -> None:
    server.say("SOUR:MODB:PORT 17,2400,EVEN,4,(@34);MAP 2,0,(@34)")
    server.baud = 2400
    assert server.say("SOUR:MODB:IDLE? (@34)") == "1"
    server.wait(50_000)
    server.say("SOUR:MODB:REG 5,0,(@34)")
    assert [e[1] for e in server.events()][:1] == ["APPL"]
    server.say("*RST")
    server.wait(100_000)
    server.events()
    busy(server, True)
    assert server.say("SOUR:MODB:IDLE? (@34)") == "0"
    server.say("SOUR:MODB:REG 5,0,(@34)")
    server.wait(300_000)
    assert (server.events(), server.say("FETC? (@34)")) == ([], "OPEN")
    busy(server, False)
    server.wait(100_000)
    assert [e[1] for e in server.events()] == ["APPL", "POS", "TERM"]


def busy(server: Server, on: bool) -> None:
    """Something holds the line away from its rest."""
    from tests.modbus.servers import BUS, FirmwareServer, SimulatedServer

    if isinstance(server, FirmwareServer):
        server._firmware.library.host_bus_busy(on)
    elif isinstance(server, SimulatedServer):
        server.peer.hardware.buses[BUS].jam(on)
