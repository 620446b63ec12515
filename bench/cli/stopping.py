"""Ctrl-C and a request to terminate, turned into a question a run can ask."""

from __future__ import annotations

import signal
from types import FrameType, TracebackType
from typing import Any

_SIGNALS = tuple(
    getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGBREAK", "SIGHUP") if hasattr(signal, name)
)


class StopSwitch:
    """While entered, the first signal only sets the switch; a second one interrupts at once.

    The run asks the switch between two looks at the fixture, opens everything,
    and ends its trace.  The second signal raises KeyboardInterrupt, on which
    the run opens everything too.
    """

    def __init__(self) -> None:
        self._thrown = False
        self._before: dict[int, Any] = {}

    def __call__(self) -> bool:
        """Whether the person asked to stop."""
        return self._thrown

    def __enter__(self) -> StopSwitch:
        for number in _SIGNALS:
            if signal.getsignal(number) is not signal.SIG_IGN:  # whoever started us wants it ignored
                self._before[number] = signal.signal(number, self._throw)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        for number, handler in self._before.items():
            signal.signal(number, handler)

    def _throw(self, number: int, frame: FrameType | None) -> None:
        if self._thrown:
            raise KeyboardInterrupt
        self._thrown = True
