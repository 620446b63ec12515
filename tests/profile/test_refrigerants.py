"""The refrigerant table and levels in ppm."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from bench.errors import ProfileError
from bench.procedure.levels import signal
from bench.profile.refrigerants import TABLE, refrigerants
from bench.trace.records import Voltage
from tests.profile.altered import mistakes, profile
from tests.profile.test_doubts import warnings

PPM = {
    "refrigerant": "R-32",
    "sensors.1.points": {"0 ppm": "0.5 V", "144000 ppm": "4.5 V"},
    "sensors.1.trip": {"nominal": "25920 ppm", "tolerance": "2880 ppm"},
    "sensors.1.clear": {"between": ["11520 ppm", "17280 ppm"]},
}


def test_levels_in_ppm_are_those_in_percent_of_the_lfl() -> None:
    (in_ppm,) = profile(changes=PPM).parameters.sensors
    (in_lfl,) = profile().parameters.sensors
    assert (in_ppm.points, in_ppm.trip, in_ppm.clear) == (in_lfl.points, in_lfl.trip, in_lfl.clear)
    assert (in_ppm.lfl_ppm, in_lfl.lfl_ppm) == (144_000, None)


def test_a_table_of_several_points_in_ppm_is_straight_between_them() -> None:
    points = {"0 ppm": "0.5 V", "14400 ppm": "1.5 V", "144000 ppm": "4.5 V"}
    (sensor,) = profile(changes={**PPM, "sensors.1.points": points}).parameters.sensors
    assert [sensor.uv_at(lfl) for lfl in (0, 5, 10, 55, 100)] == [
        500_000,
        1_000_000,
        1_500_000,
        3_000_000,
        4_500_000,
    ]
    assert sensor.level_at(3_000_000) == pytest.approx(55)


def test_a_procedure_may_say_ppm_too() -> None:
    (sensor,) = profile(changes=PPM).parameters.sensors
    assert signal(sensor, "36000 ppm") == signal(sensor, "25 %LFL") == Voltage(1_500_000, 5_000)
    with pytest.raises(ValueError, match="needs the refrigerant"):
        signal(profile().parameters.sensors[0], "36000 ppm")


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"refrigerant": "R-454b"}, ["refrigerant: R-454b is not among those whose LFL could be established; did you mean R-454B?"]),
        ({"refrigerant": "propane"}, ["refrigerant: propane is not among those whose LFL could be established; write one of R-32,"]),
        ({"refrigerant": "R-516A"}, ["refrigerant: R-516A is not among those"]),
        (
            {k: v for k, v in PPM.items() if k != "refrigerant"},
            ["sensors.1.points.0 ppm: is in ppm, which needs the refrigerant", "sensors.1.points.144000 ppm:",
             "sensors.1.trip: is in ppm", "sensors.1.clear: is in ppm"],
        ),
        ({"sensors.1.trip_at_most": "36000 ppm"}, ["sensors.1.trip_at_most: is in ppm, which needs the refrigerant; write for example refrigerant: R-32"]),
        ({"refrigerant": "R-32", "sensors.1.trip": {"nominal": "150000 ppm", "tolerance": "1 ppm"}}, ["sensors.1.trip: reaches above 100 %LFL"]),
        ({"sensors.1.trip": {"nominal": "18 %LFL", "tolerance": "100 ppm"}}, ["sensors.1.trip: nominal and tolerance have different kinds of unit"]),
        ({**PPM, "sensors.1.points": {"0 ppm": "0.5 V", "0 %LFL": "1 V", "100 %LFL": "4.5 V"}}, ["sensors.1.points: has one level twice"]),
    ],
)  # fmt: skip
def test_what_cannot_be_is_said_in_one_sentence_each(changes: dict[str, Any], says: list[str]) -> None:
    found = mistakes(changes=changes)
    assert len(found) == len(says), found
    for line, beginning in zip(found, says, strict=True):
        assert line.startswith(beginning)


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"sensors.1.trip_at_most": "19 %LFL"}, ["sensors.1.trip_at_most: claims at most 19 %LFL, and trip with its tolerance reaches 20 %LFL"]),
        ({"refrigerant": "R-454B", "sensors.1.trip_at_most": "25 %LFL", "sensors.1.trip": {"nominal": "24 %LFL", "tolerance": "2 %LFL"}},
         ["sensors.1.trip: may be 26 %LFL (29250 ppm); published: the set point is at most 25 % of the LFL",
          "sensors.1.trip_at_most: claims at most 25 %LFL (28125 ppm), and trip with its tolerance reaches 26 %LFL (29250 ppm)"]),
        ({"sensors.1.trip_at_most": "30 %LFL"}, ["sensors.1.trip_at_most: is 30 %LFL; published: the set point is at most 25 %"]),
        ({"sensors.1.trip_at_most": "25 %LFL"}, []),
        ({"refrigerant": "R-454C"}, ["refrigerant: levels in ppm go by an LFL of 7.7 vol% (remembered; from memory, doubtful); compare it"]),
    ],
)  # fmt: skip
def test_profile_check_says_where_the_trip_lies_against_claim_and_published_limit(
    tmp_path: Path, changes: dict[str, Any], says: list[str]
) -> None:
    found = warnings(tmp_path, changes)
    assert len(found) == len(says), found
    for line, beginning in zip(sorted(found), says, strict=True):
        assert line.startswith(beginning)


@pytest.mark.parametrize(
    ("row", "says"),
    [
        # Both stood on a public page: a concentration printed a thousand times too large, a mass of no A2L.
        ("R-32,LFL by volume,30.7,vol%,not given,a page,S", "cannot be true of an A2L; write 3.5 to 30 vol%"),
        ("R-454B,LFL by mass,0.063,kg/m3,not given,a page,S", "cannot be true of an A2L; write 0.1 to 0.5 kg/m3"),
        ("R-32,LFL by volume,nan,vol%,not given,a page,S", "cannot be true"),
        ("R-32,LFL by volume,144000,ppm,not given,a page,S", "is in ppm; write it in vol%"),
        ("R-32,LFL,14.4,vol%,not given,a page,S", "is no figure of this table"),
        ("R-32,LFL by volume,14.4,vol%,not given,a page,sure", "certainty 'sure' is not known"),
        ("R-32,LFL by volume,14.4,vol%,not given,,S", "needs something in every column"),
        ("R-32,LFL by volume,14.4,vol%,not given", "needs something in every column"),
    ],
)  # fmt: skip
def test_an_impossible_row_is_refused_with_its_line(tmp_path: Path, row: str, says: str) -> None:
    file = tmp_path / "table.csv"
    file.write_text(TABLE.read_text("utf-8") + row + "\n", "utf-8")
    number = len(TABLE.read_text("utf-8").splitlines()) + 1
    with pytest.raises(ProfileError) as caught:
        refrigerants(file)
    (line,) = str(caught.value).split("\n")
    assert line.startswith(f"table.csv:{number}: ") and says in line
