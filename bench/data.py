"""Where the files that are read at run time lie: in the wheel, or in the source tree."""

from __future__ import annotations

from pathlib import Path

_PACKAGED = Path(__file__).parent / "_data"
_SOURCE = Path(__file__).parent.parent


def profiles_dir() -> Path:
    """Folder of the shipped profiles."""
    packaged = _PACKAGED / "profiles"
    return packaged if packaged.is_dir() else _SOURCE / "profiles"


def channels_csv() -> Path:
    """The fixture's channel table."""
    return _hardware("channels.csv")


def loop_back_csv() -> Path:
    """What the loop-back plug joins."""
    return _hardware("loop-back.csv")


def _hardware(name: str) -> Path:
    packaged = _PACKAGED / name
    return packaged if packaged.is_file() else _SOURCE / "hardware" / name
