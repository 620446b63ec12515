"""YAML → checked, frozen model of what one board must do.

`load` takes a path or the name of a shipped profile, `from_data` the profile
stored in a trace header.  What a profile may say is in `FORMAT.md`.  The
schema layer is imported when a profile is read, not before: `--help` must
not wait for it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable

from bench.profile.model import Profile, Report

__all__ = ["Profile", "Report", "check", "describe", "from_data", "load", "schema", "shipped"]


def load(name_or_path: str) -> Profile:
    """A profile by path, or by the name of a shipped one.

    Raises ProfileError with one line for each mistake, `file:line: key: what
    is wrong, what to write`.
    """
    from bench.profile import loading

    return loading.load(name_or_path)


def from_data(data: object, source: str) -> Profile:
    """The profile that a trace carries; mistakes are `source: key: …`.

    Its wiring is taken as it stands: the fixture of that day may have been another.
    """
    from bench.profile import loading

    return loading.from_data(data, source)


def check(
    path: str, more: Callable[[Profile], Iterable[tuple[tuple[str | int, ...], str]]] | None = None
) -> Report:
    """All mistakes of a file, and what published limits or this bench cannot agree with.  Never raises.

    `more`: further warnings about a profile without mistakes, each with the
    keys that lead to it.
    """
    from bench.profile import loading

    return loading.check(path, more)


def shipped() -> list[str]:
    """Names of the shipped profiles, in order of the alphabet."""
    from bench.data import profiles_dir

    return sorted(path.stem for path in profiles_dir().glob("*.yaml"))


def schema() -> dict[str, object]:
    """JSON Schema (draft 2020-12) of a profile, for editors."""
    from bench.profile import loading

    return loading.schema()


def describe(profile: Profile) -> list[str]:
    """What a profile says, one line for each thing."""
    from bench.profile import summary

    return summary.describe(profile)
