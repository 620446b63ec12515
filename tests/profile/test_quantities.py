"""Numbers with units, and nothing else."""

from __future__ import annotations

import re
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.profile.quantities import (
    DURATION_PATTERN,
    LONGEST_US,
    Level,
    format_duration,
    format_lfl,
    format_voltage,
    parse_duration,
    parse_gas,
    parse_level,
    parse_lfl,
    parse_voltage,
)


@pytest.mark.parametrize(
    ("text", "us"),
    [("6 min", 360_000_000), ("250 ms", 250_000), ("1.5 s", 1_500_000), ("2h", 7_200_000_000), ("0 s", 0),
     (" 5 us ", 5), ("7 µs", 7), ("0.1 ms", 100), ("1.000001 s", 1_000_001), ("24 h", LONGEST_US)],
)  # fmt: skip
def test_durations(text: str, us: int) -> None:
    assert parse_duration(text) == us


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (6, "is 6, a bare number; add the unit (us, ms, s, min or h)"),
        ("6", "is 6, a bare number"),
        (1e3, "is 1000.0, a bare number"),
        ("010", "is 010, a bare number"),
        ("12:30:00", "no number with a unit"),
        ("1e3 s", "whose number cannot be read"),
        ("1,5 s", "whose number cannot be read"),
        ("1_000 s", "whose number cannot be read"),
        (".5 s", "whose number cannot be read"),
        ("-5 s", "less than 0"),
        ("5 sec", "has the unit 'sec'"),
        ("5 S", "has the unit 'S'"),
        ("5 m", "has the unit 'm'"),
        ("18 %LFL", "has the unit '%LFL'"),
        ("0.5 us", "finer than 1 us"),
        ("25 h", "longer than 24 h"),
        ("٣ s", "no number with a unit"),
        ("soon", "no number with a unit"),
        ("", "no number with a unit"),
        (True, "must be a number with a unit"),
        (None, "must be a number with a unit"),
        ({"nominal": "5 s"}, "must be a number with a unit"),
    ],
)
def test_what_is_no_duration_is_refused_with_what_to_write(text: object, says: str) -> None:
    with pytest.raises(ValueError, match=re.escape(says)):
        parse_duration(text)


@given(st.integers(0, LONGEST_US))
def test_a_written_duration_reads_back_to_the_microsecond(us: int) -> None:
    assert parse_duration(format_duration(us)) == us
    assert re.search(DURATION_PATTERN, format_duration(us))


def test_durations_are_written_short() -> None:
    assert [format_duration(us) for us in (360_000_000, 330_000_000, 1_500_000, 250_000, 7, 0)] == [
        "6 min", "330 s", "1.5 s", "250 ms", "7 us", "0 s",
    ]  # fmt: skip


def test_voltages() -> None:
    assert parse_voltage("1.8 V") == 1_800_000
    assert parse_voltage("20 mV") == 20_000
    assert format_voltage(1_800_000) == "1.8 V"
    assert format_voltage(20_000) == "20 mV"
    for wrong, says in (("1.8", "bare number"), ("61 V", "above 60 V"), ("0.0001 mV", "finer than 1 uV")):
        with pytest.raises(ValueError, match=says):
            parse_voltage(wrong)


def test_levels() -> None:
    assert parse_lfl("18 %LFL") == 18.0
    assert parse_lfl("18 % LFL") == 18.0
    assert parse_level("18.5 %LFL") == Level("%LFL", Decimal("18.5"))
    assert parse_level("1.8 V") == Level("V", Decimal(1_800_000))
    assert str(parse_level("18.50 %LFL")) == "18.5 %LFL"
    assert parse_level("25000 ppm") == parse_gas("25000 ppm") == Level("ppm", Decimal(25_000))
    assert str(parse_level("25000 ppm")) == "25000 ppm"
    assert parse_gas("36000 ppm").lfl(144_000) == parse_gas("25 %LFL").lfl(None) == 25.0
    assert format_lfl(0.1 + 0.2) == "0.3 %LFL"
    for wrong, says in (
        ("18", "bare number"),
        ("101 %LFL", "above 100 %LFL"),
        ("1000001 ppm", "more than all"),
        ("3000 ppb", "has the unit 'ppb'"),
    ):
        with pytest.raises(ValueError, match=says):
            parse_level(wrong)
