"""What fits together and what does not: mistakes across keys, and warnings."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from bench.profile.form import ProfileForm
from bench.profile.mistakes import Mistake
from bench.profile.wiring import Channel
from firmware_ref.parameters import Parameters


def errors(form: ProfileForm) -> list[Mistake]:
    return []


def of_file(form: ProfileForm, path: Path, table: Sequence[Channel]) -> list[Mistake]:
    return []


def warnings(parameters: Parameters) -> list[Mistake]:
    return []
