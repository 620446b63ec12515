"""YAML 1.2 as it is written, with lines; everything that could surprise is refused."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.profile.yamltext import read_yaml


@pytest.mark.parametrize(
    ("written", "means"),
    [("on", "on"), ("off", "off"), ("yes", "yes"), ("no", "no"), ("Y", "Y"), ("N", "N"), ("true", True),
     ("False", False), ("010", 10), ("0o10", 8), ("0x10", 16), ("12:30:00", "12:30:00"), ("1e3", 1000.0),
     ("1_000", "1_000"), ("2024-01-01", "2024-01-01"), ("~", None), ("", None), ("'5'", "5"), ('"on"', "on"),
     ("-3", -3), ("1.5", 1.5), ("6 min", "6 min"), ("0b11", "0b11"), ("<<", "<<"), ("=", "=")],
)  # fmt: skip
def test_scalars_mean_what_yaml_1_2_says(written: str, means: object) -> None:
    text = read_yaml(f"key: {written}\n".encode())
    assert text.mistakes == []
    assert text.data == {"key": means}
    assert type(text.data["key"]) is type(means)


def test_keys_are_text_as_written() -> None:
    assert read_yaml(b"{1: a, on: b, 010: c, true: d, 0 %LFL: e}").data == {
        "1": "a", "on": "b", "010": "c", "true": "d", "0 %LFL": "e",
    }  # fmt: skip


def test_every_key_and_item_has_its_line() -> None:
    text = read_yaml(b"# comment\na:\n  b: 1\n  c: [x,\n      y]\nd: {e: 2}\n")
    assert [text.line_of(p) for p in (("a",), ("a", "b"), ("a", "c", 1), ("d", "e"))] == [2, 3, 5, 6]
    assert text.line_of(("a", "b", "of nothing")) == 3


@pytest.mark.parametrize(
    ("raw", "line", "says"),
    [
        (b"a: 1\nb: 2\na: 3\n", 3, "stands twice (first in line 1)"),
        (b"x: {1: a, '1': b}\n", 1, "stands twice"),
        (b"a: &x 5\nb: *x\n", 2, "anchors and aliases"),
        (b"a: &x [*x]\n", 1, "anchors and aliases"),
        (b"a: *nowhere\n", 1, "anchors and aliases"),
        (b"a: !!python/object/apply:os.getcwd []\n", 1, "tags ("),
        (b"a: !mine b\n", 1, "tags ("),
        (b"a: 1\n---\nb: 2\n", 2, "more than one YAML document"),
        (b"a:\n\tb: 1\n", 2, "a tab stands where"),
        (b"a: [1, 2\n", 2, "cannot be read as YAML"),
        (b"a: b: c\n", 1, "cannot be read as YAML"),
        (b"a: .inf\n", 1, "no number"),
        (b"a: 1\nb: \xff\n", 2, "not UTF-8"),
        (b"a: \x00\n", 1, "cannot be read as YAML"),
        (b"? [1]\n: 2\n", 1, "a key must be one word"),
        (b"[" * 5000, 1, "cannot be read as YAML"),
        (b"#" * 1_000_001, 1, "larger than 1 MB"),
    ],
)
def test_what_could_surprise_is_refused_with_its_line(raw: bytes, line: int, says: str) -> None:
    text = read_yaml(raw)
    assert [(found, says in sentence) for found, _, sentence in text.mistakes] == [(line, True)]


def test_deep_nesting_within_the_parser_s_own_limit_is_refused() -> None:
    assert "nested too deeply" in read_yaml(b"[" * 60 + b"]" * 60).mistakes[0][2]


@given(st.binary(max_size=200))
def test_no_bytes_whatever_raise(raw: bytes) -> None:
    read_yaml(raw)
