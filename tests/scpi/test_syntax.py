"""Program messages taken apart."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.scpi.errors import ScpiError
from bench.scpi.syntax import Parameter, channel_list, channels, headers, integer, micro, parse, string, word


def heads(text: str) -> list[str]:
    return [unit.header for unit in parse(text)]


def test_headers_go_on_from_the_path_before() -> None:
    assert heads("*RST;SYST:ERR?") == ["*RST", "SYST:ERR?"]
    assert heads("syst:err:next?;coun?") == ["SYST:ERR:NEXT?", "SYST:ERR:COUN?"]
    assert heads("SYST:ERR?;*CLS;:ROUT:OPEN:ALL") == ["SYST:ERR?", "*CLS", "ROUT:OPEN:ALL"]
    assert heads("SYST:ERR?;VERS?") == ["SYST:ERR?", "SYST:VERS?"]


def test_parameters_of_every_kind() -> None:
    strings = '"a;b,""c""",' + "'d''e'"
    (unit,) = parse(f"A:B 1.5e-3 V, #H1f,#q17,#B101 , short,{strings},(@3,5:7)")
    assert unit.parameters == (
        Parameter("number", "1.5e-3", "V"), Parameter("integer", "31"), Parameter("integer", "15"),
        Parameter("integer", "5"), Parameter("word", "SHORT"), Parameter("string", 'a;b,"c"'),
        Parameter("string", "d'e"), Parameter("channels", "3,5:7"),
    )  # fmt: skip


@pytest.mark.parametrize(
    ("text", "number"),
    [
        ("1A", -102), ("A 1 2", -103), ("A 1,", -102), ("A ,1", -102), ('A "x', -151), ("A (@1", -102),
        ("A #9123", -102), ("A;;B", -102), ("A??", -102), ("*", -102), ("A:", -102), ("A,1", -102),
    ],
)  # fmt: skip
def test_mistakes_have_their_number(text: str, number: int) -> None:
    with pytest.raises(ScpiError) as caught:
        parse(text)
    assert caught.value.number == number


def test_every_spelling_of_a_header() -> None:
    assert set(headers("SYSTem:ERRor[:NEXT]?")) == {
        "SYST:ERR?", "SYSTEM:ERR?", "SYST:ERROR?", "SYSTEM:ERROR?",
        "SYST:ERR:NEXT?", "SYSTEM:ERR:NEXT?", "SYST:ERROR:NEXT?", "SYSTEM:ERROR:NEXT?",
    }  # fmt: skip
    assert headers("*IDN?") == ["*IDN?"]


def one(text: str) -> Parameter:
    return parse(f"A {text}")[0].parameters[0]


def test_values() -> None:
    assert [micro(one(t), "voltage") for t in ("1.25", "1250 mV", "1250000UV", ".5 v")] == [
        1_250_000, 1_250_000, 1_250_000, 500_000,
    ]  # fmt: skip
    assert [micro(one(t), "time") for t in ("50MS", "2", "7 us")] == [50_000, 2_000_000, 7]
    assert integer(one("#HFF"), 0, 255) == 255
    assert integer(one("4294967295"), 0, 4294967295) == 4294967295
    assert word(one("short"), ("OPEN", "SHORt")) == word(one("SHOR"), ("OPEN", "SHORt")) == "SHOR"
    assert string(one("'x'")) == "x"
    assert channels(one("(@3, 5:7, 2:1)")) == (3, 5, 6, 7, 2, 1)


@pytest.mark.parametrize(
    ("read", "number"),
    [
        (lambda: micro(one("1 A"), "voltage"), -131), (lambda: micro(one("1 S"), "voltage"), -131),
        (lambda: micro(one("x"), "time"), -104), (lambda: micro(one("1e300"), "time"), -222),
        (lambda: integer(one("256"), 0, 255), -222), (lambda: integer(one("1 V"), 0, 255), -138),
        (lambda: integer(one("x"), 0, 255), -104), (lambda: word(one("SHO"), ("SHORt",)), -141),
        (lambda: word(one("1"), ("SHORt",)), -104), (lambda: string(one("x")), -104),
        (lambda: channels(one("(@)")), -102), (lambda: channels(one("(@1:9999999)")), -222),
        (lambda: channels(one("3")), -104),
    ],
)  # fmt: skip
def test_values_that_do_not_fit(read: object, number: int) -> None:
    with pytest.raises(ScpiError) as caught:
        read()  # type: ignore[operator]
    assert caught.value.number == number


@given(st.lists(st.integers(1, 999), min_size=1, max_size=20).map(tuple))
def test_channel_lists_come_back(numbers: tuple[int, ...]) -> None:
    assert channels(one(channel_list(numbers))) == numbers


@given(st.text(st.characters(min_codepoint=32, max_codepoint=126), max_size=80))
def test_strings_come_back_and_nothing_else_breaks(text: str) -> None:
    doubled = text.replace('"', '""')
    assert string(one(f'"{doubled}"')) == text
    try:
        parse(text)
    except ScpiError as wrong:
        assert wrong.number in range(-199, -99)
