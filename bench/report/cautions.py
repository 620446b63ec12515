"""The cautions, said at the start of a run, on the page and wherever else a result is shown."""

from __future__ import annotations

CAUTIONS = (
    "Bench use only. Nothing but the board is connected to the fixture.",
    "The supply is a listed, fused Class 2 source: 24 VAC, at most 100 VA, one at a time. "
    "No line voltage on the fixture.",
    "No refrigerant is released for this test: the sensor's signal is imitated.",
    "A bench pass is no certification, and no substitute for the maker's instructions, local codes, "
    "and licensed practice.",
)

#: Said wherever something that a simulated fixture produced is shown.
SIMULATED = "simulated: no evidence about a real board"
