"""The firmware under random stimuli, on profiles drawn by chance: never failed.

A profile is first brought to what this board's hardware can carry; the judge
then gets the profile as brought, so nothing is forgiven.
"""

from __future__ import annotations

import os
from dataclasses import replace
from unittest import mock

import pytest

from firmware_ref.board.image import RELAYS, Unfit, image
from firmware_ref.parameters import Mode, Output, Parameters, Policy
from tests.boards import air_handler, buttoned_air_handler, buttoned_furnace, furnace
from tests.firmware_ref.board.core import CoreBoard
from tests.judge.random_profiles import random_parameters
from tests.judge.random_runs import random_run
from tests.judge.stand import Stand

SEEDS = int(os.environ.get("SEEDS", "5"))


def run(parameters: Parameters, seed: int) -> Stand:
    def make(parameters: Parameters, *, seed: int, **_: object) -> CoreBoard:
        return CoreBoard(parameters, seed=seed)

    with mock.patch("tests.judge.stand.Board", make):
        return random_run(parameters, seed, steps=40)


def carried(seed: int) -> Parameters | None:
    """A profile by chance as this board could have it; None where it stays refused."""
    p = random_parameters(seed, wide=True)
    free = [name for name in RELAYS if name not in {o.name for o in p.outputs}]
    outputs = [
        at_rest(o if o.name in RELAYS or "." in o.name else replace(o, name=free.pop())) for o in p.outputs
    ]
    rules = p.rules
    if rules.reset_supply_off_us is not None:
        rules = replace(rules, reset_supply_off_us=min(rules.reset_supply_off_us, 12_000_000))
    sensor = p.sensors[0]
    p = replace(p, outputs=tuple(outputs), rules=rules, sensors=(sensor,))
    try:
        image(p)
    except Unfit:
        return None
    return p


def at_rest(output: Output) -> Output:
    rest = Policy.ON if output.kind == "contact-nc" else Policy.OFF
    return replace(output, modes={**output.modes, Mode.UNPOWERED: rest})


@pytest.mark.parametrize(
    "parameters", [furnace(), air_handler(), buttoned_air_handler(), buttoned_furnace()], ids=lambda p: p.name
)
def test_invented_boards(parameters: Parameters) -> None:
    for seed in range(SEEDS):
        failed = [f for f in run(parameters, seed).judge().findings if f.verdict == "fail"]
        assert not failed, f"seed {seed}: {failed[0].requirement}: {failed[0].text}"


def test_profiles_by_chance() -> None:
    tried = 0
    for seed in range(3 * SEEDS):
        parameters = carried(seed)
        if parameters is not None:
            tried += 1
            failed = [f for f in run(parameters, seed).judge().findings if f.verdict == "fail"]
            assert not failed, f"seed {seed}: {failed[0].requirement}: {failed[0].text}"
    assert tried > SEEDS
