"""Profiles by chance that demand what a profile of their equipment demands, and procedures tried on paper."""

from __future__ import annotations

from dataclasses import replace

from bench.cli.trying import tried
from bench.procedure.short import Trial, Try
from bench.procedure.steps import Procedure, Step
from bench.profile.build import default_proofs
from firmware_ref.parameters import Parameters
from tests.boards import air_handler, furnace
from tests.judge.random_profiles import random_parameters
from tests.run.fakes import profile_of


def attempt_on(parameters: Parameters) -> Try:
    known: dict[tuple[Step, ...], Trial] = {}

    def attempt(procedure: Procedure) -> Trial:
        if procedure.steps not in known:
            known[procedure.steps] = tried(procedure, profile_of(parameters))
        return known[procedure.steps]

    return attempt


def by_chance(seed: int) -> Parameters:
    """A usual board that this bench can prove."""
    parameters = random_parameters(seed, wide=True, usual=True)
    lossy = any(s.lost_by for s in parameters.sensors)
    return replace(parameters, must_prove=default_proofs(parameters.outputs, lossy))


def boards(part: int, parts: int, count: int) -> list[Parameters]:
    """Every so-manieth of the two shipped ones and `count` by chance."""
    return [furnace(), air_handler(), *map(by_chance, range(count))][part::parts]
