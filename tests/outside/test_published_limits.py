"""Published limits that `profile check` warns about.

The standards themselves were not at hand.  Certainty beside each value: S seen
in a public source, S2 seen at second hand only, M+ / M? remembered with high /
low confidence.  A remembered row is never asserted to be right: its tests only
show that it warns and says so.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from bench.profile import published
from tests.profile.altered import GONE, mistakes
from tests.profile.test_doubts import warnings

GOVERNS = "the maker's documents and local codes govern"


def second_stage(follows_in: str) -> dict[str, Any]:
    """An output on the call Y or its like, blocked in a leak and in the hold but in one of them."""
    modes = dict.fromkeys(("unpowered", "start-up", "leak-active", "post-leak-hold", "sensor-fault"), "off")
    return {
        "kind": "ac",
        "feed": "call",
        "call": "Y",
        "follow": {"within": "250 ms"},
        "modes": {**modes, "normal": "follow", follows_in: "follow"},
    }


def test_detection_in_a_plunge_of_edition_3_within_10_s() -> None:
    # S: Purdue IRACC paper 2146, abstract.
    row = published.DETECTED_IN_PLUNGE
    assert (row.value, row.unit, row.certainty) == (10, "s", "S")


def test_mitigation_lasts_at_least_300_s() -> None:
    # S2: ASHRAE 15-2019 as told by two independent trade documents (5 min after the return to normal).
    assert (published.HOLD_AT_LEAST.value, published.HOLD_AT_LEAST.unit) == (300, "s")
    assert published.HOLD_AT_LEAST.certainty == "S2"


def test_the_set_point_is_at_most_25_percent_of_the_lfl() -> None:
    # S2: a gas-sensor maker's summary of IEC 60335-2-40:2018; UL's own article on UL 60335-2-40 edition 4.
    assert (published.TRIP_AT_MOST.value, published.TRIP_AT_MOST.unit) == (25, "%LFL")
    assert published.TRIP_AT_MOST.certainty == "S2"


def test_detection_within_30_s() -> None:
    # S: EFCTC news of 2 May 2020, quoting the AHRI update of 9 April 2020.
    assert (published.DETECTED_WITHIN.value, published.DETECTED_WITHIN.unit) == (30, "s")
    assert published.DETECTED_WITHIN.certainty == "S"


@pytest.mark.parametrize(
    ("changes", "starts", "source"),
    [
        ({"timing.hold": {"between": ["299.999 s", "310 s"]}}, "timing.hold: may be as short as 299.999 s", "ASHRAE 15-2019"),
        ({"timing.hold": {"within": "6 min"}}, "timing.hold: may be as short as 0 s", "ASHRAE 15-2019"),
        ({"sensors.1.trip": {"nominal": "24 %LFL", "tolerance": "1.1 %LFL"}}, "sensors.1.trip: may be 25.1 %LFL", "60335-2-40"),
        ({"timing.trip": {"within": "30.1 s"}}, "timing.trip: may take 30.1 s", "AHRI"),
        ({"outputs.G.trip": {"within": "31 s"}}, "outputs.G.trip: may take 31 s", "AHRI"),
        # S: Purdue IRACC paper 2146 (abstract) on UL 60335-2-40 edition 3: 10 s at 100 % LFL; later editions differ.
        ({"timing.trip": {"within": "11 s"}}, "timing.trip: may take 11 s", "edition 3"),
        ({"outputs.Y2": second_stage("leak-active")}, "outputs.Y2.modes.leak-active: is follow", "UL on 60335-2-40"),
        ({"outputs.W2": second_stage("post-leak-hold")}, "outputs.W2.modes.post-leak-hold: is follow", "ASHRAE 15-2019"),
        ({"outputs.W.modes.leak-active": "follow"}, "outputs.W.modes.leak-active: is follow", "UL on 60335-2-40"),
        ({"outputs.G.modes.post-leak-hold": "follow"}, "outputs.G.modes.post-leak-hold: is follow", "ASHRAE 15-2019"),
    ],
)  # fmt: skip
def test_a_profile_that_disagrees_is_warned_of_and_used(
    tmp_path: Path, changes: dict[str, Any], starts: str, source: str
) -> None:
    (line,) = warnings(tmp_path, changes)
    assert line.startswith(starts)
    assert source in line
    assert line.endswith(GOVERNS)


@pytest.mark.parametrize(
    "changes",
    [
        {"timing.hold": {"between": ["300 s", "310 s"]}},
        {"sensors.1.trip": {"nominal": "24 %LFL", "tolerance": "1 %LFL"}},
        {"timing.trip": {"within": "10 s"}},
        {"timing.hold": "not stated", "timing.trip": "not stated"},
    ],
)
def test_a_profile_at_the_limit_agrees(tmp_path: Path, changes: dict[str, Any]) -> None:
    assert warnings(tmp_path, changes) == []


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        # M?: 15 s is commonly quoted; no source with a public name was seen.
        ({"timing.trip": {"within": "16 s"}}, "from memory, doubtful"),
        # M+: dampers fully open, remembered of ASHRAE 15-2019.
        (
            {"outputs.damper": second_stage("leak-active"), "wiring": {"out.damper": 25}},
            "dampers are driven fully open",
        ),
        # M?: the compressor while the detector has failed; it differs by listing.
        ({"outputs.Y.modes.sensor-fault": "follow"}, "listings differ"),
        # M?: before the detector is ready the fan runs or nothing else does.
        ({"outputs.W.modes.start-up": "follow"}, "until the detector is ready"),
        # M+: a disconnected detector is noticed; a plain contact cannot tell.
        (
            {
                "sensors": {"1": {"kind": "contact"}},
                "timing.loss": GONE,
                "timing.return": GONE,
                "rules": {"hold_on_band": "restart"},
            },
            "failed or is disconnected",
        ),
        # M+: the fan on a failed detector, remembered of ASHRAE 15-2019.
        ({"outputs.G.modes.sensor-fault": "off"}, "from memory, not confirmed"),
    ],
)
def test_what_is_only_remembered_is_a_warning_that_says_so(
    tmp_path: Path, changes: dict[str, Any], words: str
) -> None:
    (line,) = warnings(tmp_path, changes)
    assert words in line
    assert mistakes(changes=changes) == []


def test_no_row_cites_a_clause_and_every_row_says_how_sure_it_is() -> None:
    rows = [row for row in vars(published).values() if isinstance(row, published.Published)]
    assert len(rows) >= 12
    for row in rows:
        assert row.source
        assert row.certainty in ("S", "S2", "M+", "M?")
        assert "clause" not in str(row).lower()
        assert ("remembered" in row.source) == row.certainty.startswith("M")
