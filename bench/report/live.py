"""The live view of a run in a terminal.

An observer of a run (`bench.run.observer`).  It feeds the live judge itself.
All times come from the records' ticks; the only clock, which is injected,
bounds how often the screen is drawn.  No thread draws: a run that hangs shows
a screen that stands.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from bench.report import wording
from bench.report.judging import BEHIND_US, Judging, feed
from bench.report.live_picture import State, picture
from bench.report.plain import opening
from bench.report.terminal import WIDTH
from bench.report.watched import Watched
from bench.trace.records import End, Header, Record
from firmware_ref.parameters import Parameters

if TYPE_CHECKING:
    from rich.console import Console

#: Least time between two drawings.
REDRAW_US = 125_000


class LiveView:
    """Draws the run on `console` while it goes on; used as a context manager.

    `now_us`: host time in us, only for the rate of drawing.  `answered`:
    whether the person has answered the last prompt.
    """

    def __init__(
        self,
        console: Console,
        header: Header,
        parameters: Parameters,
        judge: Judging,
        now_us: Callable[[], int],
        answered: Callable[[], bool] = lambda: False,
    ) -> None:
        from rich.live import Live

        self._console = console
        self._judge = judge
        self._now_us = now_us
        self._answered = answered
        self._drawn_us: int | None = None
        self.state = State(header, parameters, Watched(parameters), judge)
        self._live = Live(console=console, auto_refresh=False, transient=True, vertical_overflow="crop")

    def __enter__(self) -> LiveView:
        for line in opening(self.state.header, min(WIDTH, self._console.width)):
            self._console.print(line, markup=False, highlight=False)
        self._console.print()
        self._live.start()
        self._draw()
        return self

    def __exit__(self, *exc: object) -> None:
        self._live.stop()

    def step(self, index: int, total: int, text: str) -> None:
        self.state.step = (index, total, wording.clean(text))
        self._draw_if_due()

    def record(self, record: Record) -> None:
        self.state.watched.take(record)
        feed(self._judge, record)
        if isinstance(record, End):
            self._draw()
        else:
            self._draw_if_due()

    def pass_time(self, tick_us: int) -> None:
        """The fixture's clock has come to `tick_us` and nothing has happened."""
        self.state.watched.pass_time(tick_us)
        self._judge.advance(tick_us - BEHIND_US)
        self._draw_if_due()

    def note(self, text: str) -> None:
        self.state.note = wording.clean(text)
        self._draw_if_due()

    def ask(self, text: str) -> None:
        self.state.asked = wording.sentence(text)
        self._draw()

    def answered(self) -> bool:
        done = self._answered()
        if done:
            self.state.asked = ""
            self._draw_if_due()
        return done

    def _draw_if_due(self) -> None:
        if self._drawn_us is None or self._now_us() - self._drawn_us >= REDRAW_US:
            self._draw()

    def _draw(self) -> None:
        self._drawn_us = self._now_us()
        size = self._console.size
        self._live.update(picture(self.state, size.width, size.height), refresh=True)
