"""How much of what grows with the shipped profiles the tests take.

The first two boards are taken whole.  Of the later ones, which have many more
terminals, a share is taken; SEEDS of 200 and more, the long form, takes all.
"""

from __future__ import annotations

import os
from zlib import crc32

SEEDS = int(os.environ.get("SEEDS", "20"))
WHOLE = ("invented-split-furnace", "invented-air-handler")
_ONE_IN = 6


def taken(profile: str, name: str) -> bool:
    """Whether the row `name` of a table is taken for this profile; always the same ones, and what the first lack."""
    whole = profile in WHOLE or SEEDS >= 200 or "alarm." in name
    return whole or crc32(f"{profile}-{name}".encode()) % _ONE_IN == 0


def seeds_of(profile: str) -> int:
    """How many boards of this profile are drawn."""
    return SEEDS if profile in WHOLE or SEEDS >= 200 else max(2, SEEDS // 10)
