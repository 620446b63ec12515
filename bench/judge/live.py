"""The judge while the run goes on: provisional, and a moment behind.

The same tracker as the verdict's, fed record by record.  It holds back as long
as a failure must be followed to be told from another, and takes the fixture's
clock as ±0.5 % unknown, so that what it reports is never more than the verdict
can.
"""

from __future__ import annotations

from bench.judge import failures
from bench.judge.book import Book
from bench.judge.clock import EXACT, UNFITTED
from bench.judge.feed import Feed
from bench.judge.findings import Finding
from bench.judge.modes import dues
from bench.judge.tracker import Tracker
from bench.judge.window import Stamp
from bench.trace.records import Edge, End, Header, Readback, Record, Snapshot
from firmware_ref.parameters import Mode, Parameters


class LiveJudge:
    """Records in as they happen; modes, running timers and findings out."""

    def __init__(self, parameters: Parameters, header: Header) -> None:
        self.parameters = parameters
        self._clock = EXACT if header.clock == "exact" else UNFITTED
        self._book: Book | None = None
        self._feed: Feed | None = None
        self._tracker: Tracker | None = None
        self._lag_us = failures.LOOK_AHEAD_US + parameters.timing.glitch_us

    def feed(self, record: Record) -> None:
        """Take one record of the run."""
        if isinstance(record, Snapshot):
            zero = Stamp(record.tick_us, 0)
            self._book = Book(self.parameters, zero.mid_us, self.parameters.decision, clock=self._clock)
            self._feed = Feed(self.parameters, self._clock, self._book)
            self._tracker = Tracker.start(
                self.parameters,
                self._clock.rate_ppm,
                zero,
                self._feed.start(record),
                self._book,
                failures.resolve,
            )
            return
        if self._feed is None or self._tracker is None:
            return
        self._tracker.push(self._feed.record(record))
        if isinstance(record, (Edge, Readback)):
            self.advance(record.latest_us)
        elif isinstance(record, End):
            self.advance(record.tick_us)

    def advance(self, tick_us: int) -> None:
        """The run has come to `tick_us`."""
        if self._feed is None or self._tracker is None:
            return
        self._tracker.push(self._feed.settle(tick_us))
        self._tracker.run(max(self._tracker.now_us, tick_us - self._lag_us))

    @property
    def findings(self) -> list[Finding]:
        """Findings so far, in the order they fell."""
        return [] if self._book is None else self._book.findings

    @property
    def modes(self) -> tuple[Mode, ...]:
        """What the board may be doing."""
        if self._tracker is None:
            return (Mode.UNPOWERED,)
        return tuple(dict.fromkeys(p.mode for p in self._tracker.possibilities))

    @property
    def running(self) -> tuple[tuple[str, int, int | None], ...]:
        """Events that are waited for: (name, earliest, latest) in ticks; latest None: no limit."""
        if self._tracker is None:
            return ()
        found: dict[str, tuple[str, int, int | None]] = {}
        for p in self._tracker.possibilities:
            for due in dues(p, self._tracker.world):
                high = due.window.high
                found[due.event] = (due.event, due.window.low.nominal_us, high and high.nominal_us)
        return tuple(found.values())
