"""What people write, made safe as a part of a file name."""

from __future__ import annotations

import re

_KEPT = 40  # characters of a unit or profile name that go into a file name


def cleaned(text: str) -> str:
    """`text` with everything but letters, digits, `.` and `-` made one `-`."""
    return re.sub(r"[^A-Za-z0-9.-]+", "-", text).strip("-.")[:_KEPT].rstrip("-.")
