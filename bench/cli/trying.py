"""A procedure tried on paper: what a board in the middle of its limits proves by it, and how long that takes."""

from __future__ import annotations

from bench.judge.judge import open_case, unproven_of
from bench.procedure import load
from bench.procedure.short import Trial
from bench.procedure.steps import Procedure
from bench.profile import Profile
from bench.run.dry_run import synthetic


def tried(procedure: Procedure, profile: Profile) -> Trial:
    """Raises ProcedureError where it cannot be carried out, not even on paper."""
    trace, _ = synthetic(procedure, profile)
    case = open_case(trace, profile.parameters, profile.parameters.decision)
    case.follow()
    unproven = unproven_of(profile.parameters, case.tracker.book)
    return Trial(case.end_us - case.zero_us, frozenset(unproven))


def procedure_for(profile: Profile, name_or_path: str, repeat: int | None = None) -> Procedure:
    """The procedure for the board of that profile; raises ProcedureError."""
    return load(name_or_path, profile.parameters, lambda procedure: tried(procedure, profile), repeat)
