"""Two judgements of one trace, requirement by requirement."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from bench.judge.figures import decimals
from bench.judge.findings import REQUIREMENTS, Finding, Judgement

_WORST = {"pass": 0, "inconclusive": 1, "fail": 2}


@dataclass(frozen=True, slots=True)
class Row:
    """One requirement and output under both judgements; None: no finding there.

    `margins` are the least margins in s, None where nothing was measured.
    """

    requirement: str
    output: str | None
    verdicts: tuple[str | None, str | None]
    margins: tuple[float | None, float | None]

    @property
    def differs(self) -> bool:
        return self.verdicts[0] != self.verdicts[1]


def compare(one: Judgement, other: Judgement) -> list[Row]:
    """Rows in the order of the requirement table, then of the outputs' names."""
    sides = (_by_name(one), _by_name(other))
    names = sorted({*sides[0], *sides[1]}, key=lambda n: (REQUIREMENTS.index(n[0]), n[1] or ""))
    return [
        Row(name[0], name[1], (_verdict(sides[0], name), _verdict(sides[1], name)),
            (_margin(sides[0], name), _margin(sides[1], name)))
        for name in names
    ]  # fmt: skip


def lines(rows: list[Row], one: str, other: str) -> Iterator[str]:
    """The rows as a table for people; `one` and `other` name the two judgements."""
    width = max([len("requirement"), *(len(_name(r)) for r in rows)])
    left, right = max(len(one), 22), max(len(other), 22)
    yield f"{'requirement':<{width}}  {one:<{left}}  {other:<{right}}"
    for row in rows:
        a, b = (_cell(v, m) for v, m in zip(row.verdicts, row.margins, strict=True))
        yield f"{_name(row):<{width}}  {a:<{left}}  {b:<{right}}{'  differs' if row.differs else ''}".rstrip()


def _by_name(judgement: Judgement) -> dict[tuple[str, str | None], list[Finding]]:
    found: dict[tuple[str, str | None], list[Finding]] = {}
    for finding in judgement.findings:
        found.setdefault((finding.requirement, finding.output), []).append(finding)
    return found


def _verdict(side: dict[tuple[str, str | None], list[Finding]], name: tuple[str, str | None]) -> str | None:
    return max((f.verdict for f in side.get(name, ())), key=_WORST.__getitem__, default=None)


def _margin(side: dict[tuple[str, str | None], list[Finding]], name: tuple[str, str | None]) -> float | None:
    return min((f.margin for f in side.get(name, ()) if f.margin is not None), default=None)


def _name(row: Row) -> str:
    return f"{row.requirement} {row.output}" if row.output else row.requirement


def _cell(verdict: str | None, margin: float | None) -> str:
    if verdict is None:
        return "-"
    return verdict if margin is None else f"{verdict} ({margin:+.{decimals(margin, 0.0)}f} s)"
