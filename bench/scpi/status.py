"""Error queue and status registers of one device (IEEE 488.2 clause 11, SCPI-1999 volume 1 chapter 9)."""

from __future__ import annotations

from collections import deque

from bench.scpi.errors import entry, event_bit

ERRORS_WAIT = 4
EVENT_SUMMARY = 32
SERVICE_REQUEST = 64


class ErrorQueue:
    """First in, first out; when it is full the last entry becomes -350."""

    def __init__(self, capacity: int = 16) -> None:
        self._capacity = capacity
        self._entries: deque[str] = deque()

    def __len__(self) -> int:
        return len(self._entries)

    def push(self, number: int, detail: str = "") -> None:
        if len(self._entries) >= self._capacity:
            self._entries[-1] = entry(-350)
        else:
            self._entries.append(entry(number, detail))

    def pop(self) -> str:
        """The oldest entry, `0,"No error"` when there is none."""
        return self._entries.popleft() if self._entries else entry(0)

    def clear(self) -> None:
        self._entries.clear()


class Status:
    """Standard event register, its enable masks, and the status byte."""

    def __init__(self, errors: ErrorQueue) -> None:
        self.errors = errors
        self.events = 0
        self.event_enable = 0
        self.service_enable = 0

    def error(self, number: int, detail: str = "") -> None:
        self.errors.push(number, detail)
        self.events |= event_bit(number)

    def take_events(self) -> int:
        """`*ESR?`: reading clears."""
        events, self.events = self.events, 0
        return events

    def byte(self) -> int:
        """`*STB?`."""
        summary = ERRORS_WAIT if self.errors else 0
        if self.events & self.event_enable:
            summary |= EVENT_SUMMARY
        return summary | (SERVICE_REQUEST if summary & self.service_enable else 0)

    def clear(self) -> None:
        self.errors.clear()
        self.events = 0
