"""Bytes into messages, both roles."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.scpi import blocks
from bench.scpi.lines import LINE_LIMIT, Line, LineReader, Malformed, Refused, Response, ResponseReader
from tests.scpi.feeding import fed

LINES = [
    (b"*IDN?\n", [Line("*IDN?")]),
    (b"*IDN?\r\n", [Line("*IDN?")]),
    (b"\n\n  \r\n", []),
    (b"A\nB\n", [Line("A"), Line("B")]),
    (b"A\xb0\nB\n", [Refused(-101), Line("B")]),
    (b"A\x00\nB\n", [Refused(-101), Line("B")]),
    (b"x" * LINE_LIMIT + b"\nB\n", [Line("x" * LINE_LIMIT), Line("B")]),
    (b"x" * (LINE_LIMIT + 1) + b"\nB\n", [Refused(-363), Line("B")]),
    (b"x" * 5000 + b"\nB\n", [Refused(-363), Line("B")]),
    # A device's line ends at its LF, whatever looks like the beginning of a block.
    (b'A "#9999999999\nB\n', [Line('A "#9999999999'), Line("B")]),
]

RESPONSES = [
    (b"mitbench,F,0,1\n", [Response(b"mitbench,F,0,1")]),
    (b"#15HELLO\n", [Response(b"#15HELLO")]),
    (b"#15HE\nLO\n", [Response(b"#15HE\nLO")]),
    (b'1;#15HE\nLO,"a#15"\n2\n', [Response(b'1;#15HE\nLO,"a#15"'), Response(b"2")]),
    (b"#3100" + b"\n" * 100 + b"\n", [Response(b"#3100" + b"\n" * 100)]),
    (b"\n\n1\n", [Response(b"1")]),
    (b"#13HELLO\n2\n", [Malformed("a block is longer than it says"), Response(b"2")]),
    (b"#1xHELLO\n2\n", [Malformed("the length of a block is written in digits, not b'x'"), Response(b"2")]),
    (b"#H12\n", [Response(b"#H12")]),
]


@pytest.mark.parametrize(("data", "messages"), LINES)
def test_lines(data: bytes, messages: list) -> None:
    for way, found in fed(lambda: LineReader().feed, data, b"NEXT").items():
        assert found == messages, way


@pytest.mark.parametrize(("data", "messages"), RESPONSES)
def test_responses(data: bytes, messages: list) -> None:
    for way, found in fed(lambda: ResponseReader().feed, data, b"#21").items():
        assert found == messages, way


def test_a_response_that_never_ends_is_given_up_and_the_next_one_is_read() -> None:
    reader = ResponseReader(limit=100)
    assert reader.feed(b"#3900" + b"x" * 200) == [Malformed("a response is too long")]
    assert reader.feed(b"x\n7\n") == [Response(b"7")]


def test_clearing_forgets_a_cut_off_block() -> None:
    reader = ResponseReader()
    assert reader.feed(b"#3900abc\n") == []
    reader.clear()
    assert reader.feed(b"7\n") == [Response(b"7")]


@given(st.lists(st.binary(max_size=200), min_size=1, max_size=4), st.integers(1, 7))
def test_any_blocks_come_back(contents: list[bytes], chunk: int) -> None:
    stream = b"".join(blocks.encode(c) + b"\n" for c in contents)
    reader = ResponseReader()
    found = [m for i in range(0, len(stream), chunk) for m in reader.feed(stream[i : i + chunk])]
    assert [blocks.decode(m.data) for m in found if isinstance(m, Response)] == contents
    assert len(found) == len(contents)


@given(st.binary(max_size=600))
def test_no_bytes_make_a_reader_raise_or_grow(data: bytes) -> None:
    for reader in (LineReader(), ResponseReader(limit=300)):
        for i in range(len(data)):
            reader.feed(data[i : i + 1])
        assert len(reader._buffer) <= 301


@pytest.mark.parametrize("bad", [b"", b"#", b"#0", b"#15HELL", b"#15HELLO!", b"HELLO", b"#2 5HELLO"])
def test_what_is_no_whole_block_is_refused(bad: bytes) -> None:
    with pytest.raises(ValueError, match="block"):
        blocks.decode(bad)
