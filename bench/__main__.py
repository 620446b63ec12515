"""`mitbench`, and the same as `python -m bench`."""

from __future__ import annotations

import sys


def main() -> None:
    """Runs the command line and ends the process with its exit code."""
    from bench.cli.app import start

    sys.exit(start())


if __name__ == "__main__":
    main()
