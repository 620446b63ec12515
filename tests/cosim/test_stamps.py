"""Time stamps hold what truly happened, whatever the fixture's clock does."""

from __future__ import annotations

import os

import pytest

from bench.fixture.events import Event
from tests.cosim.stamps import MOST_HALF_WIDTH, Result, Stamps
from tests.cosim.wiring import Conditions

ROUNDS = 40 * int(os.environ.get("SEEDS", "1"))


@pytest.mark.parametrize(("ppm", "drift"), [(5_000, 30), (-5_000, -30)])
def test_every_stamp_holds_its_edge(ppm: int, drift: int) -> None:
    conditions = Conditions(seed=1, fixture_ppm=ppm, fixture_drift_ppm_a_minute=drift)
    result = Stamps(conditions).course(ROUNDS)
    assert result.outside == []
    assert result.checked == {"CONTACT": 3 * ROUNDS, "AC": ROUNDS, "VOLT": ROUNDS, "POS": ROUNDS}
    for kind, widest in result.widest.items():
        assert widest <= MOST_HALF_WIDTH[kind]


def test_a_stamp_beside_its_edge_is_noticed() -> None:
    result = Result()
    result.hold("POS", Event(1, "POS", 3, "1", 1_000, 2_000, 0), 997.0)
    result.hold("POS", Event(2, "POS", 3, "1", 1_000, 2_000, 0), 999.0)
    assert len(result.outside) == 1
