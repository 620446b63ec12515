"""Who watches a run while it happens.  An observer shows; it decides nothing."""

from __future__ import annotations

from typing import Protocol

from bench.trace.records import Record


class Observer(Protocol):
    """What a run tells, in order.  No method may block: the fixture opens everything after 3 s of silence."""

    def step(self, index: int, total: int, text: str) -> None:
        """Step `index` (from 0) of `total` begins."""
        ...

    def record(self, record: Record) -> None:
        """A record was written to the trace."""
        ...

    def note(self, text: str) -> None:
        """One sentence for the person."""
        ...

    def ask(self, text: str) -> None:
        """The person is to do something; show it, and let `answered` tell when they say it is done."""
        ...

    def answered(self) -> bool:
        """Whether the person has answered the last `ask`; asked again and again while the run waits."""
        ...


class Silent:
    """Shows nothing and takes every prompt as done at once."""

    def step(self, index: int, total: int, text: str) -> None:
        pass

    def record(self, record: Record) -> None:
        pass

    def note(self, text: str) -> None:
        pass

    def ask(self, text: str) -> None:
        pass

    def answered(self) -> bool:
        return True
