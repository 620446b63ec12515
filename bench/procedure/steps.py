"""The steps of a procedure as a person writes them: what to do and when, never what is right.

Nothing here depends on a profile; `bench.procedure.plan` turns steps into
microseconds and microvolts for one board.  `FORMAT.md` beside this file is the
format for people.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Union

FORMAT = "mitbench-procedure-1"


@dataclass(frozen=True, slots=True)
class Apply:
    """A stimulus: channels and what to bring them to, in this order, as words (`on`, `leak`, `20 %LFL`)."""

    settings: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Sweep:
    """A stimulus that takes time: an analog sensor's signal goes to the quantity `to` in `over_us`."""

    channel: str
    to: str
    over_us: int


@dataclass(frozen=True, slots=True)
class Gesture:
    """A stimulus that takes time: the service button's gesture for `action` (`self-test`), as surely as it can be."""

    action: str


@dataclass(frozen=True, slots=True)
class Presses:
    """The same with times of one's own: so many presses, from the first's beginning to the last's end in `us`."""

    count: int
    us: int


@dataclass(frozen=True, slots=True)
class Stairs:
    """A stimulus that ends when the board answers: an analog sensor's signal goes through `levels`, quantities.

    Each stands for `each_us`; when any output has changed, the rest are left out.
    """

    channel: str
    levels: tuple[str, ...]
    each_us: int


@dataclass(frozen=True, slots=True)
class Wait:
    """A wait of fixed length.  `why`: what for, for a person; it is not written in a file."""

    us: int
    why: str = field(default="", compare=False)


@dataclass(frozen=True, slots=True)
class WaitTimer:
    """A wait relative to one of the profile's timers, counted from the stimulus that starts it.

    `share` of the shortest span the board may take; None: past the longest
    span, its bounds and the glitch time.
    """

    timer: str
    share: float | None = None


@dataclass(frozen=True, slots=True)
class Until:
    """A wait until all `levels` read so, at most `at_most_us`; then the procedure goes on either way."""

    levels: tuple[tuple[str, str], ...]
    at_most_us: int


@dataclass(frozen=True, slots=True)
class Require:
    """A condition of the bench: if `levels` do not read so within `within_us`, the run is a bench fault."""

    levels: tuple[tuple[str, str], ...]
    within_us: int


@dataclass(frozen=True, slots=True)
class Prompt:
    """The person is asked to do something; the run goes on when they say it is done."""

    text: str


Doing = Union[Apply, Sweep, Stairs, Gesture, Presses, Wait, WaitTimer, Until, Require, Prompt]


@dataclass(frozen=True, slots=True)
class Step:
    """One step.  `part` names the part of the procedure that begins here; `where` is `file:line`."""

    doing: Doing
    part: str = ""
    where: str = ""

    def as_written(self) -> dict[str, Any]:
        """The step as it would stand in a file."""
        return {**({"part": self.part} if self.part else {}), **_written(self.doing)}


@dataclass(frozen=True, slots=True)
class Procedure:
    """A named list of steps.

    `judged` False: what was seen is measured and printed only.  `left_out`:
    what it cannot exercise on this board or bench, and why.  `statistics`: its
    repeated timings are to be told with their spread.
    """

    name: str
    about: str
    steps: tuple[Step, ...]
    judged: bool = True
    source: str = "built in"
    left_out: tuple[str, ...] = ()
    statistics: bool = False

    def as_json(self) -> dict[str, Any]:
        """For the header of a trace."""
        return {
            "format": FORMAT,
            "name": self.name,
            "about": self.about,
            "judged": self.judged,
            "source": self.source,
            **({"statistics": True} if self.statistics else {}),
            **({"left_out": list(self.left_out)} if self.left_out else {}),
            "steps": [step.as_written() for step in self.steps],
        }


def _written(doing: Doing) -> Mapping[str, Any]:
    if isinstance(doing, Apply):
        return dict(doing.settings)
    if isinstance(doing, Sweep):
        return {doing.channel: {"ramp": {"to": doing.to, "over": _written_us(doing.over_us)}}}
    if isinstance(doing, Gesture):
        return {"button": doing.action}
    if isinstance(doing, Presses):
        us = _written_us(doing.us)
        return {"button": {"press": us} if doing.count == 1 else {"presses": doing.count, "within": us}}
    if isinstance(doing, Stairs):
        return {doing.channel: {"stairs": {"levels": list(doing.levels), "each": _written_us(doing.each_us)}}}
    if isinstance(doing, Wait):
        return {"wait": _written_us(doing.us)}
    if isinstance(doing, WaitTimer):
        how = {"past": "max"} if doing.share is None else {"at": doing.share}
        return {"wait": {"timer": doing.timer, **how}}
    if isinstance(doing, Until):
        return {"until": {**dict(doing.levels), "at_most": _written_us(doing.at_most_us)}}
    if isinstance(doing, Require):
        return {"require": {**dict(doing.levels), "within": _written_us(doing.within_us)}}
    return {"prompt": doing.text}


def _written_us(us: int) -> str:
    """A duration as the format reads it back, exactly."""
    whole, rest = divmod(us, 1000)
    return f"{whole} ms" if not rest else f"{us} us"
