"""The serial language against published values."""

from __future__ import annotations

import pytest

from bench.scpi import blocks
from bench.scpi.crc import crc16, sealed, unsealed
from bench.scpi.device import Clockwork, Device
from bench.scpi.errors import TEXTS, entry, event_bit
from bench.simulated.peer import simulated_fixture
from tests.boards import furnace


def test_crc_check_value() -> None:
    # CRC-16/IBM-3740 (also CCITT-FALSE): 0x29B1 for "123456789". Source: catalogue of parametrised CRC algorithms;
    # computed anew with an independent library. Certain.
    assert crc16(b"123456789") == 0x29B1
    assert sealed(b"123456789") == b"12345678929B1"
    assert unsealed(b"12345678929B1") == b"123456789"
    assert unsealed(b"12345678829B1") is None


@pytest.mark.parametrize(
    ("number", "text"),
    [
        # Source: SCPI-1999 volume 2, 21.8. Certain: the same in several public implementations.
        (0, "No error"), (-100, "Command error"), (-101, "Invalid character"), (-102, "Syntax error"),
        (-103, "Invalid separator"), (-104, "Data type error"), (-105, "GET not allowed"),
        (-108, "Parameter not allowed"), (-109, "Missing parameter"), (-110, "Command header error"),
        (-113, "Undefined header"), (-114, "Header suffix out of range"), (-131, "Invalid suffix"),
        (-138, "Suffix not allowed"), (-141, "Invalid character data"), (-151, "Invalid string data"),
        (-200, "Execution error"), (-222, "Data out of range"), (-224, "Illegal parameter value"),
        (-300, "Device-specific error"), (-310, "System error"), (-321, "Out of memory"),
        (-330, "Self-test failed"), (-350, "Queue overflow"), (-360, "Communication error"),
        (-363, "Input buffer overrun"), (-400, "Query error"), (-410, "Query INTERRUPTED"),
        (-420, "Query UNTERMINATED"), (-430, "Query DEADLOCKED"),
        (-440, "Query UNTERMINATED after indefinite response"), (-500, "Power on"),
    ],
)  # fmt: skip
def test_error_numbers_and_texts(number: int, text: str) -> None:
    assert TEXTS[number] == text


def test_the_form_of_an_error() -> None:
    # Source: SCPI-1999 volume 1, 21.8: number, comma, string. Certain.
    assert entry(-113) == '-113,"Undefined header"'
    assert entry(0) == '0,"No error"'


@pytest.mark.parametrize(
    ("number", "bit"),
    # Source: IEEE 488.2, 11.5.1: query error 4, device error 8, execution 16, command 32, power on 128. Certain.
    [(-410, 4), (-350, 8), (1, 8), (-222, 16), (-113, 32), (-500, 128), (0, 0)],
)
def test_event_register_bits(number: int, bit: int) -> None:
    assert event_bit(number) == bit


def test_every_common_command_that_is_mandatory() -> None:
    # Source: IEEE 488.2, 10.3 to 10.39: the mandatory set. Certain.
    device = Device("a,b,0,0", Clockwork(lambda: 1, lambda: 0))
    for line in (
        "*CLS",
        "*ESE 0",
        "*ESE?",
        "*ESR?",
        "*IDN?",
        "*OPC",
        "*OPC?",
        "*SRE 0",
        "*SRE?",
        "*STB?",
        "*WAI",
    ):
        assert bool(device.receive(line.encode() + b"\n")) is line.endswith("?")
    fixture = simulated_fixture(furnace())
    fixture.receive(b"*CLS\n*RST\n*TST?\nSYST:ERR?;VERS?\n")
    assert fixture.take() == b'0\n0,"No error";1999.0\n'


def test_the_form_of_the_identity() -> None:
    # Source: IEEE 488.2, 10.14: four fields parted by commas, at most 72 characters in all (likely); SCPI-1999
    # volume 1, 4.1.3.6: the model does not contain the word MODEL (certain).
    fixture = simulated_fixture(furnace(), seed=123456)
    fixture.receive(b"*IDN?\n")
    fields = fixture.take().decode("ascii").rstrip("\n")
    assert len(fields) <= 72
    assert len(fields.split(",")) == 4
    assert all(fields.split(","))
    assert "MODEL" not in fields.upper()


def test_definite_length_blocks() -> None:
    # Source: IEEE 488.2, 8.7.9: #15HELLO is 5 bytes. Certain.
    assert blocks.encode(b"HELLO") == b"#15HELLO"
    assert blocks.decode(b"#15HELLO") == b"HELLO"
    assert blocks.encode(bytes(100)) == b"#3100" + bytes(100)
