"""Where sensors tripped and cleared, as rows for people: in the sensor's own unit, %LFL and ppm."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from bench.judge.levels import Level
from bench.report import wording

HEADS = ("sensor", "level", "%LFL", "V", "ppm", "limits", "verdict")
ABOUT = (
    "± is the expanded uncertainty (k = 2) from the step of the staircase, settling and the signal source. "
    "Found from when an output answered, by the timings that the profile gives; what hysteresis there must be "
    "no profile says, so it is not judged."
)

_PLACES = {"%LFL": 2, "V": 3, "ppm": 0}


def cells(level: Level) -> tuple[str, ...]:
    """As HEADS has it; ppm is empty where the refrigerant is not named."""
    limits = None if level.limits_lfl == (None, None) else level.limits_lfl  # the verdict says it
    return (
        wording.clean(level.sensor),
        level.what,
        *(_with_u(level, unit) for unit in ("%LFL", "V", "ppm")),
        wording.limits_words(limits, "%LFL"),
        level.verdict or "not judged",
    )


def _with_u(level: Level, unit: str) -> str:
    if unit not in level.value:
        return ""
    places = _PLACES[unit]
    return f"{level.value[unit]:.{places}f} ± {level.uncertainty[unit]:.{places}f}"


def table_lines(levels: Sequence[Level], width: int) -> Iterator[str]:
    """A table where it fits, else a list."""
    rows = [cells(level) for level in levels]
    kept = [n for n in range(len(HEADS)) if n != HEADS.index("ppm") or any(row[n] for row in rows)]
    table = [[row[n] for n in kept] for row in (HEADS, *rows)]
    lines = wording.columns(table, left=(0, 1, len(kept) - 1))
    if max(map(len, lines)) + 2 <= width:
        yield from (f"  {line}" for line in lines)
        return
    for sensor, what, lfl, volts, ppm, limits, verdict in rows:
        text = f"sensor {sensor} {what}: {lfl} %LFL, {volts} V{f', {ppm} ppm' if ppm else ''}"
        text += f", limits {limits} %LFL" if limits else ""
        yield from wording.wrapped(f"{text}: {verdict}", width, 2, "  ")
