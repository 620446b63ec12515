"""Timings that a run measured more than once, and how they scatter: statistics, never a verdict."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

from bench.judge.findings import REQUIREMENTS, Judgement
from bench.judge.judge import clock_of
from bench.procedure.words import output_channel
from bench.records.spread import Spread, spread_of
from bench.report import wording
from bench.trace.records import Edge, Trace

#: A finding stands at the edge that it is about; more than this apart, it is about something else.
_SAME_S = 0.001

ABOUT = (
    "Consistency is a statistic, never a verdict. The mean of all that this board would ever do lies in "
    "mean ± its 95 %, with 95 % confidence; 95 % of all that it would do lie in the last interval, with 95 % "
    "confidence, if it scatters normally. "
    "What the bench itself scatters (a half cycle on a 24 VAC terminal) is in the figures."
)
HEADS = ("requirement", "output", "to", "n", "mean", "std. dev.", "95 %", "95 % of all", "limits")


@dataclass(frozen=True, slots=True)
class Repeated:
    """One timing of one output (None: the whole board), measured `spread.count` times, in s.

    `to`: where the output went; None where the findings do not say which output it was.
    """

    requirement: str
    output: str | None
    to: str | None
    limits: tuple[float | None, float | None]
    spread: Spread

    def as_json(self) -> dict[str, Any]:
        spread = asdict(self.spread)
        return {
            "requirement": self.requirement,
            "output": self.output,
            "to": self.to,
            "unit": "s",
            "limits": list(self.limits),
            **{key: list(v) if isinstance(v, tuple) else v for key, v in spread.items()},
        }

    def cells(self) -> tuple[str, ...]:
        """As HEADS has it."""
        spread = self.spread
        return (
            self.requirement,
            wording.clean(self.output or "board"),
            self.to or "",
            str(spread.count),
            wording.number(spread.mean, "s"),
            f"{spread.deviation:.4f}",
            f"±{wording.number(spread.mean_within[1] - spread.mean, 's')}",
            " to ".join(wording.number(end, "s") for end in spread.tolerance),
            wording.limits_words(self.limits, "s"),
        )


def repeated(trace: Trace, judgement: Judgement) -> list[Repeated]:
    """Those of a run whose procedure asks for it; in the order of requirements."""
    if not trace.header.procedure.get("statistics") or trace.snapshot is None:
        return []
    moves = _Moves(trace)
    groups: dict[tuple[str, str | None, str | None, Any], list[float]] = defaultdict(list)
    for f in judgement.findings:
        if f.measured is not None and f.unit == "s":
            to = None if f.output is None else moves.at(f.output, f.at_s)
            groups[f.requirement, f.output, to, f.limits or (None, None)].append(f.measured)
    found = [Repeated(*key, spread_of(values)) for key, values in groups.items() if len(values) > 1]
    return sorted(found, key=lambda r: (REQUIREMENTS.index(r.requirement), r.output or "", r.to or ""))


class _Moves:
    """Which way each output went, and when, in the time of findings."""

    def __init__(self, trace: Trace) -> None:
        assert trace.snapshot is not None
        fit = clock_of(trace)
        zero_us = fit.true_us(trace.snapshot.tick_us)
        self._seen: dict[str, list[tuple[float, str]]] = defaultdict(list)
        for record in trace.records:
            if isinstance(record, Edge):
                middle_us = (fit.true_us(record.earliest_us) + fit.true_us(record.latest_us)) / 2
                self._seen[record.ch].append(((middle_us - zero_us) / 1e6, str(record.value)))

    def at(self, output: str, at_s: float) -> str | None:
        seen = self._seen[output_channel(output)]
        nearest = min(seen, key=lambda move: abs(move[0] - at_s), default=None)
        return nearest[1] if nearest is not None and abs(nearest[0] - at_s) <= _SAME_S else None


def table_lines(rows: Sequence[Repeated], width: int) -> list[str]:
    """A table no wider than `width`, without the limits if they do not fit; where nothing does, a list."""
    whole = [HEADS, *(row.cells() for row in rows)]
    for table in (whole, [row[:-1] for row in whole]):
        lines = [f"  {line}" for line in wording.columns(table, left=(0, 1, 2))]
        if max(map(len, lines)) <= width:
            return lines
    lines = []
    for cells in whole[1:]:
        said = ", ".join(f"{head} {cell}" for head, cell in zip(HEADS[3:], cells[3:], strict=True) if cell)
        what = " ".join(filter(None, cells[:3]))
        lines += wording.wrapped(f"{what}: {said}", width, indent=2, first="  ")
    return lines
