"""A shipped profile with some of its keys changed."""

from __future__ import annotations

import json
from typing import Any

from bench.errors import ProfileError
from bench.profile import Profile, from_data, load

#: Stands for a key that is taken out.
GONE = object()


def data(name: str = "invented-split-furnace", changes: dict[str, Any] | None = None) -> dict[str, Any]:
    """`changes`: dotted key → value, or GONE.  Keys that have a dot of their own are written with `/`."""
    copy: dict[str, Any] = json.loads(json.dumps(load(name).data))
    for key, value in (changes or {}).items():
        *parents, last = (part.replace("/", ".") for part in key.split("."))
        holder = copy
        for parent in parents:
            holder = holder.setdefault(parent, {})
        if value is GONE:
            del holder[last]
        else:
            holder[last] = value
    return copy


def profile(name: str = "invented-split-furnace", changes: dict[str, Any] | None = None) -> Profile:
    return from_data(data(name, changes), "test")


def mistakes(name: str = "invented-split-furnace", changes: dict[str, Any] | None = None) -> list[str]:
    """The lines of all mistakes, without their source; empty if there are none."""
    try:
        profile(name, changes)
    except ProfileError as e:
        return [line.removeprefix("test: ") for line in str(e).split("\n")]
    return []
