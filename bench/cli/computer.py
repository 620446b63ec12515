"""The computer's clock: who this computer is, and how fast its clock runs where the person has measured that."""

from __future__ import annotations

import platform
import re

from bench.errors import UsageError
from bench.trace.calibration import COMPUTER_LIMIT_PPM, COMPUTER_WITHIN_PPM, ComputerRate, sensible

_NUMBER = r"([+-]?\d+(?:\.\d*)?)"
_FORM = re.compile(rf"\s*{_NUMBER}\s*(?:ppm)?\s+within\s+{_NUMBER}\s*(?:ppm)?\s*", re.IGNORECASE)


def computer_name() -> str:
    """What this computer is called in its network."""
    return platform.node() or "unnamed"


def parse_rate(text: str) -> ComputerRate:
    """`+12.5 ppm within 3 ppm` for this computer; raises UsageError."""
    found = _FORM.fullmatch(text)
    if found is None:
        raise UsageError(
            f'--computer-clock {text}: write how fast the clock runs, as in "+12.5 ppm within 3 ppm"'
        )
    ppm, within_ppm = float(found[1]), float(found[2])
    if not sensible(ppm, within_ppm):
        raise UsageError(
            f"--computer-clock {text}: a computer's clock is at most {COMPUTER_LIMIT_PPM:g} ppm off, and to be of "
            f"use it must be known to more than 0 and at most {COMPUTER_WITHIN_PPM:g} ppm"
        )
    return ComputerRate(computer_name(), ppm, within_ppm)
