"""What a profile demands to be proven, and the built-in acceptance does not prove on any good board.

The procedure is carried out on paper with a board in the middle of all
limits, and judged: what is not proven there will never be.
"""

from __future__ import annotations

from collections.abc import Iterator

from bench.cli.trying import tried
from bench.errors import ProcedureError
from bench.procedure import load as load_procedure
from bench.profile import Profile
from firmware_ref.parameters import Parameters

PROCEDURE = "acceptance"
#: What has no figure to be measured against where one of these is not stated.
_RESTS_ON = {
    "trip": ("trip",), "hold": ("clear", "hold"), "re-leak": ("clear", "hold"), "release": ("clear", "hold"),
    "loss": ("loss",), "return": ("return",),
    # Whether it is the hold in which a call changes must be known.
    "blocked": ("trip", "clear"), "forced": ("trip", "clear"),
}  # fmt: skip


def never_proven(profile: Profile) -> Iterator[tuple[tuple[str | int, ...], str]]:
    """Key and sentence for each entry of `must_prove` that keeps every board of this profile from passing."""
    parameters = profile.parameters
    try:
        unproven = tried(load_procedure(PROCEDURE, parameters), profile).unproven
    except ProcedureError as e:
        yield (), f"{PROCEDURE} cannot be carried out, not even on paper: {e}"
        return
    written = profile.data.get("must_prove")
    for entry in (e for e in parameters.must_prove if e in unproven):
        missing = _missing(entry, parameters)
        place: tuple[str | int, ...] = ("must_prove",)
        if written:
            place = ("must_prove", written.index(entry))
        elif missing:  # a line that is there
            place = ("timing", missing[0])
        yield (
            place,
            f"{entry}: {PROCEDURE} does not prove it even on a board in the middle of all limits"
            f"{_why(missing)}, so no board passes there; "
            + ("take it out" if written else "write must_prove without it")
            + ", or test by a procedure of your own that shows it",
        )


def _missing(entry: str, parameters: Parameters) -> list[str]:
    """The keys of `timing` without a figure that the entry rests on."""
    timing = parameters.timing
    return [
        key
        for key in _RESTS_ON.get(entry.partition(":")[0], ())
        if getattr(timing, f"{key}_" if key == "return" else key) is None
    ]


def _why(missing: list[str]) -> str:
    return f" ({' and '.join(f'timing.{key}' for key in missing)} not stated)" if missing else ""
