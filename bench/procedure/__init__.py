"""What to do and when: steps, waits and the built-in procedures; never what is right."""

from __future__ import annotations

from bench.errors import ProcedureError
from bench.procedure.steps import Procedure
from firmware_ref.parameters import Parameters


def built_in() -> dict[str, str]:
    """The built-in procedures, name → what it is for."""
    from bench.procedure.acceptance import ABOUT

    return dict(ABOUT)


def load(name_or_path: str, parameters: Parameters) -> Procedure:
    """The built-in procedure of that name, written out for the board, or the one in a file.

    Raises ProcedureError, one line for each mistake.
    """
    from bench.procedure import acceptance, reading

    if name_or_path in acceptance.ABOUT:
        make = {"acceptance": acceptance.acceptance, "survey": acceptance.survey}[name_or_path]
        return make(parameters)
    if not name_or_path.endswith((".yaml", ".yml")):
        raise ProcedureError(
            f"{name_or_path}: no such procedure; write {' or '.join(acceptance.ABOUT)}, "
            "or the path of a file that ends in .yaml"
        )
    return reading.read(name_or_path)
