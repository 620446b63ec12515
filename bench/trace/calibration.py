"""What `mitbench fixture check` found out about one fixture: its calibration record.

It lies in a file beside the results (`bench.records.calibration`), `run` puts
it into the header of the trace, and the judge takes two things from there:
which inputs the loop-back plug has shown to be sound, and how fast the
computer's clock runs where somebody has measured that.  The record carries
its own checksum: one that was changed or damaged is refused, never used.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from typing import Any

FORMAT = "mitbench-calibration-1"
#: A computer's clock further off than this, or known no better than without being measured, is a slip of the pen.
COMPUTER_LIMIT_PPM = 500.0
COMPUTER_WITHIN_PPM = 100.0

_WHO = ("maker", "model", "serial", "firmware")


@dataclass(frozen=True, slots=True)
class ClockRate:
    """The fixture's clock runs fast by `ppm` against the computer's, known to ± `within_ppm`."""

    ppm: float
    within_ppm: float
    samples: int
    seconds: float


@dataclass(frozen=True, slots=True)
class ComputerRate:
    """The clock of the computer `name` runs fast by `ppm`, known to ± `within_ppm`, as the person has measured it."""

    name: str
    ppm: float
    within_ppm: float


@dataclass(frozen=True, slots=True)
class Spread:
    """Times in us: mean, standard deviation, least and most of so many; each is known to ± `bound`."""

    mean: float
    sd: float
    least: float
    most: float
    bound: float
    times: int


@dataclass(frozen=True, slots=True)
class RelayTimes:
    """How long a relay takes; `seen_at`: the input that saw it on the loop-back plug, else `position`."""

    ch: str
    number: int
    seen_at: str
    operate_us: Spread
    release_us: Spread


@dataclass(frozen=True, slots=True)
class SensorOffsets:
    """Least and most by which the read-backs lay beside what was told, over so many levels."""

    ch: str
    number: int
    levels: int
    ahead_uv: tuple[int, int]
    behind_uv: tuple[int, int]


@dataclass(frozen=True, slots=True)
class Calibration:
    """One record.  `fixture`: its four fields of `*IDN?`; `inputs`: numbers of the channels that the plug
    covered, when it was last fitted, at `plugged`.
    """

    fixture: Mapping[str, str]
    simulated: bool
    created: str
    mitbench: str
    clock: ClockRate
    relays: tuple[RelayTimes, ...]
    sensors: tuple[SensorOffsets, ...]
    inputs: tuple[int, ...] = ()
    plugged: str = ""
    computer: ComputerRate | None = None

    def on_computer(self, name: str) -> Calibration:
        """The record as it holds on that computer: the rate of another one's clock says nothing there."""
        foreign = self.computer is not None and self.computer.name != name
        return replace(self, computer=None) if foreign else self

    def as_json(self) -> dict[str, Any]:
        """The record as a plain object with its checksum."""
        plain = json.loads(json.dumps({"format": FORMAT, **asdict(self)}))
        return {**plain, "sha256": _checksum(plain)}


def from_json(plain: object) -> Calibration:
    """The record that a plain object stands for; raises ValueError, the end of a sentence about it."""
    if not isinstance(plain, Mapping) or plain.get("format") != FORMAT:
        raise ValueError("is no calibration record of this mitbench")
    rest = {key: value for key, value in plain.items() if key != "sha256"}
    if plain.get("sha256") != _checksum(rest):
        raise ValueError("was changed or damaged: its checksum does not fit")
    try:
        found = _calibration(rest)
    except (KeyError, TypeError, ValueError):
        raise ValueError("cannot be what a check has left: a part of it is missing or no number") from None
    computer = found.computer
    if computer is not None and not sensible(computer.ppm, computer.within_ppm):
        raise ValueError(
            f"says that the computer's clock is {computer.ppm:+g} ppm off within {computer.within_ppm:g} ppm, "
            "which no computer's is"
        )
    return found


def sensible(ppm: float, within_ppm: float) -> bool:
    """Whether a computer's clock can be off by that, and can be known to that."""
    return abs(ppm) <= COMPUTER_LIMIT_PPM and 0 < within_ppm <= COMPUTER_WITHIN_PPM


def _checksum(plain: Mapping[str, Any]) -> str:
    text = json.dumps(plain, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()


def _calibration(plain: Mapping[str, Any]) -> Calibration:
    computer = plain["computer"]
    return Calibration(
        fixture={key: _text(plain["fixture"][key]) for key in _WHO},
        simulated=plain["simulated"] is True,
        created=_text(plain["created"]),
        mitbench=_text(plain["mitbench"]),
        clock=ClockRate(**{key: _number(value) for key, value in plain["clock"].items()}),
        relays=tuple(
            RelayTimes(
                _text(one["ch"]), _whole(one["number"]), _text(one["seen_at"]), _spread(one["operate_us"]),
                _spread(one["release_us"]),
            )
            for one in plain["relays"]
        ),
        sensors=tuple(
            SensorOffsets(
                _text(one["ch"]), _whole(one["number"]), _whole(one["levels"]), _pair(one["ahead_uv"]),
                _pair(one["behind_uv"]),
            )
            for one in plain["sensors"]
        ),
        inputs=tuple(_whole(number) for number in plain["inputs"]),
        plugged=_text(plain["plugged"]),
        computer=None
        if computer is None
        else ComputerRate(
            _text(computer["name"]), _number(computer["ppm"]), _number(computer["within_ppm"])
        ),
    )  # fmt: skip


def _spread(plain: Mapping[str, Any]) -> Spread:
    return Spread(**{key: _number(value) for key, value in plain.items()})


def _pair(plain: list[Any]) -> tuple[int, int]:
    least, most = plain
    return _whole(least), _whole(most)


def _text(value: Any) -> str:
    if not isinstance(value, str):
        raise TypeError
    return value


def _number(value: Any) -> Any:
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not math.isfinite(value):
        raise TypeError
    return value


def _whole(value: Any) -> int:
    if isinstance(value, bool) or not isinstance(value, int):
        raise TypeError
    return value
