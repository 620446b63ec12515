"""What a view needs of the live judge (`bench.judge.live.LiveJudge` is one), and how it is fed."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

from bench.judge.findings import Finding
from bench.trace.records import Clock, Record
from firmware_ref.parameters import Mode

#: How much older than the clock an event may be that is still to be fetched; twice the longest poll.
BEHIND_US = 1_000_000


class Judging(Protocol):
    """Records in; provisional findings and what the board may be doing out.  All times are ticks in us."""

    def feed(self, record: Record) -> None: ...

    def advance(self, tick_us: int) -> None: ...

    @property
    def findings(self) -> Sequence[Finding]: ...

    @property
    def modes(self) -> tuple[Mode, ...]: ...

    @property
    def running(self) -> Sequence[tuple[str, int, int | None]]: ...


def feed(judge: Judging, record: Record) -> None:
    """One record of the run to the judge; a clock sample also tells it that time has passed."""
    judge.feed(record)
    if isinstance(record, Clock):
        judge.advance(record.tick_us - BEHIND_US)
