"""Who watches a run: a person at a terminal, a person reading a log, or nobody but a program."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager

from bench.clock import SystemClock
from bench.judge.live import LiveJudge
from bench.report.answer import EnterKey
from bench.report.plain import Plain
from bench.report.terminal import wants_colour
from bench.run.observer import Observer, Silent
from bench.trace.records import Header
from firmware_ref.parameters import Parameters

#: Makes the observer of a run once its header is known.
Watch = Callable[[Header], AbstractContextManager[Observer]]


def for_people(parameters: Parameters) -> Watch:
    """A live view where stdout is a terminal, plain lines where it is not."""

    @contextmanager
    def watch(header: Header) -> Iterator[Observer]:
        judge, enter = LiveJudge(parameters, header), EnterKey(sys.stdin)
        if wants_colour(sys.stdout):
            from rich.console import Console

            from bench.report.live import LiveView

            console = Console(file=sys.stdout)
            with LiveView(console, header, parameters, judge, SystemClock().now_us, enter) as view:
                yield view
        else:
            with Plain(sys.stdout, header, parameters, judge, enter) as plain:
                yield plain

    return watch


@contextmanager
def for_programs(header: Header) -> Iterator[Observer]:
    """Nothing on stdout, and nothing judged before the end; a prompt to a person goes to stderr."""
    yield _OnlyPrompts()


class _OnlyPrompts(Silent):
    def __init__(self) -> None:
        self._enter = EnterKey(sys.stdin)

    def ask(self, text: str) -> None:
        print(f"mitbench: {text} Press Enter when it is done.", file=sys.stderr, flush=True)

    def answered(self) -> bool:
        return self._enter()
