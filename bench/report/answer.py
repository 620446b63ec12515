"""The Enter key, for prompts to the person: asked for without ever blocking the run."""

from __future__ import annotations

import threading
from typing import TextIO


class EnterKey:
    """Whether a line has come in on `source` since it was last asked for.

    A thread waits for the line, since no way of looking without waiting works
    on every system.  The end of the input is no answer.
    """

    def __init__(self, source: TextIO) -> None:
        self._source = source
        self._waiting: threading.Thread | None = None
        self._came = threading.Event()

    def __call__(self) -> bool:
        """True once for each line; the first call begins to wait for it."""
        if self._came.is_set():
            self._came.clear()
            self._waiting = None
            return True
        if self._waiting is None:
            self._waiting = threading.Thread(target=self._read, daemon=True)
            self._waiting.start()
        return False

    def _read(self) -> None:
        if self._source.readline():
            self._came.set()
