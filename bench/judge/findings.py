"""What the judge says: findings and the judgement of a whole trace."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from bench.judge.levels import Level

#: Requirement names in the order that breaks ties between equally near possibilities.
REQUIREMENTS = (
    "power-up", "follow", "trip", "blocked", "forced", "clear", "hold", "re-leak", "release",
    "loss", "kept-on-loss", "return", "latch", "self-test", "button", "restart", "supply", "level", "light", "recall",
    "contact", "chatter", "backfeed",
)  # fmt: skip


@dataclass(slots=True)
class Finding:
    """One judged occurrence.

    `verdict`: pass, fail, inconclusive.  `kind`: too-early, too-late, missing,
    not-allowed, chatter, too-low, too-high; None if nothing was wrong.  `output` None is the
    whole board.  `measured`, `limits`, `bound`, `uncertainty`, `margin` are in
    `unit` (s, V or %LFL); an open end of `limits` is None.  `at_s` counts from
    the snapshot.  `also`: what the same fault broke later.  `conformance`: the
    probability, 0 to 1, that the true value is within the limits, None where
    nothing was measured.  `half_widths` add up to `bound`: of the stimulus, of
    the answer, and of the clock (in V: of both ends of the resistor; in %LFL:
    of the step, of settling, of the signal source).
    """

    requirement: str
    output: str | None
    verdict: str
    at_s: float
    text: str
    kind: str | None = None
    also: tuple[str, ...] = ()
    count: int = 1
    measured: float | None = None
    limits: tuple[float | None, float | None] | None = None
    bound: float | None = None
    uncertainty: float | None = None
    margin: float | None = None
    unit: str = "s"
    conformance: float | None = None
    half_widths: tuple[float, ...] | None = None

    def as_json(self) -> dict[str, Any]:
        return asdict(self)


@dataclass(frozen=True, slots=True)
class Judgement:
    """The answer for one trace.

    `verdict`: pass, fail, inconclusive, bench-fault, stopped.  `findings`:
    failed ones first in order of time, then inconclusive, then passed.
    `levels`: where sensors tripped and cleared, if a staircase told.
    """

    verdict: str
    reason: str
    findings: tuple[Finding, ...]
    not_exercised: tuple[str, ...]
    not_judged: tuple[str, ...]
    cannot_show: tuple[str, ...]
    board_seconds: float
    decision: str
    levels: tuple[Level, ...] = ()

    @property
    def exit_code(self) -> int:
        return {"pass": 0, "fail": 1, "inconclusive": 3, "bench-fault": 4, "stopped": 130}[self.verdict]
