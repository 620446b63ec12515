"""`mitbench`, and the same as `python -m bench`."""

from __future__ import annotations

import signal
import sys
from types import FrameType


def main() -> None:
    """Runs the command line and ends the process with its exit code."""
    if signal.getsignal(signal.SIGINT) is signal.default_int_handler:
        signal.signal(signal.SIGINT, _first_interrupts)
    try:
        from bench.cli.app import start

        code = start()
    except KeyboardInterrupt:
        code = 130  # as bench.cli.app.EXIT_STOPPED, which may not be there yet
    # All is done and said: a Ctrl-C while the interpreter tidies up, which it does without its handlers, must not
    # change how the process ends.
    if hasattr(signal, "pthread_sigmask"):
        signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    sys.exit(code)


def _first_interrupts(number: int, frame: FrameType | None) -> None:
    """Another Ctrl-C while the first is being answered must not end the process before it has cleaned up and said so."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    raise KeyboardInterrupt


if __name__ == "__main__":
    main()
