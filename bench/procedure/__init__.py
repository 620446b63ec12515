"""What to do and when: steps, waits and the built-in procedures; never what is right."""

from __future__ import annotations

from typing import TYPE_CHECKING

from bench.errors import ProcedureError
from bench.procedure.steps import Procedure
from firmware_ref.parameters import Parameters

if TYPE_CHECKING:
    from bench.procedure.short import Try


def built_in() -> dict[str, str]:
    """The built-in procedures, name → what it is for."""
    from bench.procedure import acceptance, full, level_test, short, timing

    return {
        **acceptance.ABOUT,
        "short": short.ABOUT,
        "full": full.ABOUT,
        "levels": level_test.ABOUT,
        "timing": timing.ABOUT,
    }


def load(
    name_or_path: str, parameters: Parameters, attempt: Try | None = None, repeat: int | None = None
) -> Procedure:
    """The built-in procedure of that name, written out for the board, or the one in a file.

    `attempt` carries a procedure out on paper, which `short` is made by;
    `repeat` is how often `timing` measures each timing.
    Raises ProcedureError, one line for each mistake.
    """
    from bench.procedure import acceptance, full, level_test, reading, short, timing

    if repeat is not None and name_or_path != "timing":
        raise ProcedureError(f"{name_or_path}: is not repeated; --repeat goes with the procedure timing")
    if name_or_path == "timing":
        return timing.timing(parameters, timing.TIMES if repeat is None else repeat)
    if name_or_path in acceptance.ABOUT:
        make = {"acceptance": acceptance.acceptance, "survey": acceptance.survey}[name_or_path]
        return make(parameters)
    if name_or_path == "full":
        return full.full(parameters)
    if name_or_path == "levels":
        return level_test.levels(parameters)
    if name_or_path == "short":
        if attempt is None:
            raise ValueError("short is made by trying on paper: give `attempt`")
        return short.short(parameters, attempt)
    if not name_or_path.endswith((".yaml", ".yml")):
        raise ProcedureError(
            f"{name_or_path}: no such procedure; write {' or '.join(built_in())}, "
            "or the path of a file that ends in .yaml"
        )
    return reading.read(name_or_path)
