"""Intervals as people write them: `{nominal, tolerance}`, `{within}`, `{between}`, for times and for levels.

Each form is a class of its own; which one was meant is told by its keys.
"""

from __future__ import annotations

from difflib import get_close_matches
from typing import Annotated, Any, Union

from pydantic import Discriminator, Tag, model_validator

from bench.profile.quantities import Level, format_duration
from bench.profile.values import NOT_STATED, Duration, Form, NotStated, SensorLevel, needed
from firmware_ref.parameters import Interval as Span


class Around(Form):
    """A nominal time and its tolerance, both ways."""

    nominal: Duration = needed("The nominal time.")
    tolerance: Duration = needed("How far the time may lie from the nominal, both ways.")

    @model_validator(mode="after")
    def _not_below_zero(self) -> Around:
        if self.nominal is not None and self.tolerance is not None and self.tolerance > self.nominal:
            most = format_duration(self.nominal + self.tolerance)
            raise ValueError(f"the tolerance is larger than the nominal; write {{within: {most}}}")
        return self

    def span(self) -> Span:
        return Span(self.nominal - self.tolerance, self.nominal + self.tolerance)


class Within(Form):
    """At the latest after this time; how early does not matter."""

    within: Duration = needed("The longest time allowed.")

    def span(self) -> Span:
        return Span(0, self.within)


class Between(Form):
    """Neither earlier nor later."""

    between: list[Duration] = needed("Shortest and longest time.", min_length=2, max_length=2)

    @model_validator(mode="after")
    def _in_order(self) -> Between:
        if self.between is not None and self.between[0] > self.between[1]:
            first, last = map(format_duration, self.between)
            raise ValueError(f"the shortest time is above the longest; write {{between: [{last}, {first}]}}")
        return self

    def span(self) -> Span:
        return Span(self.between[0], self.between[1])


class LevelAround(Form):
    """A level and its tolerance, both ways."""

    nominal: SensorLevel = needed("The nominal level.")
    tolerance: SensorLevel = needed("How far the level may lie from the nominal, both ways.")

    @model_validator(mode="after")
    def _fits(self) -> LevelAround:
        if self.nominal is not None and self.tolerance is not None:
            if self.nominal.unit != self.tolerance.unit:
                raise ValueError(
                    "nominal and tolerance have different kinds of unit; write both in %LFL or both in volts"
                )
            if self.tolerance.value > self.nominal.value:
                raise ValueError("the tolerance is larger than the nominal; write a smaller tolerance")
        return self

    def ends(self) -> tuple[Level, Level]:
        unit, nominal, tolerance = self.nominal.unit, self.nominal.value, self.tolerance.value
        return Level(unit, nominal - tolerance), Level(unit, nominal + tolerance)


class LevelBetween(Form):
    """The lowest and the highest level."""

    between: list[SensorLevel] = needed("Lowest and highest level.", min_length=2, max_length=2)

    @model_validator(mode="after")
    def _fits(self) -> LevelBetween:
        if self.between is not None:
            low, high = self.between
            if low.unit != high.unit:
                raise ValueError(
                    "the two levels have different kinds of unit; write both in %LFL or both in volts"
                )
            if low.value > high.value:
                raise ValueError(f"the lowest level is above the highest; write {{between: [{high}, {low}]}}")
        return self

    def ends(self) -> tuple[Level, Level]:
        return self.between[0], self.between[1]


#: Key → tag of the written form that has it.
FORM_OF_KEY = {
    "nominal": "#around", "tolerance": "#around", "within": "#within", "between": "#between",
    "on": "#both", "off": "#both",
}  # fmt: skip


def _choose(write: str, *forms: str) -> Discriminator:
    """Tells the written forms of one value apart by their keys; misspelt keys are guessed at.

    Tags begin with `#`, so that they can be left out where a mistake is placed.
    """
    keys = {key: form for key, form in FORM_OF_KEY.items() if form in forms}

    def which(value: Any) -> str | None:
        if isinstance(value, dict):
            known = [key for key in value if key in keys]
            guessed = [m for key in value for m in get_close_matches(str(key).lower(), list(keys), 1)]
            return next((keys[key] for key in known + guessed), None)
        return "#not-stated" if value == NOT_STATED and "#not-stated" in forms else None

    return Discriminator(which, "which_form", write, {})


_AN_INTERVAL = "{nominal: 6 min, tolerance: 5 s}, {within: 250 ms} or {between: [2 s, 6 s]}"
_Around = Annotated[Around, Tag("#around")]
_Within = Annotated[Within, Tag("#within")]
_Between = Annotated[Between, Tag("#between")]
_LevelAround = Annotated[LevelAround, Tag("#around")]
_LevelBetween = Annotated[LevelBetween, Tag("#between")]

#: A time that must be stated.
TimeInterval = Annotated[
    Union[_Around, _Within, _Between],
    _choose(f"write {_AN_INTERVAL}", "#around", "#within", "#between"),
]
#: A time that the maker may not have stated.
StatedOrNot = Annotated[
    Union[_Around, _Within, _Between, NotStated],
    _choose(f"write {_AN_INTERVAL}, or not stated", "#around", "#within", "#between", "#not-stated"),
]


class Both(Form):
    """One interval for the move to on, one for the move to off."""

    on: TimeInterval = needed("Limits of the move to on.")
    off: TimeInterval = needed("Limits of the move to off.")


#: Limits of a move: one interval for both ways, or one for each.
MoveLimits = Annotated[
    Union[_Around, _Within, _Between, Annotated[Both, Tag("#both")]],
    _choose(f"write {_AN_INTERVAL}, or {{on: …, off: …}} with one of these each",
            "#around", "#within", "#between", "#both"),
]  # fmt: skip
LevelInterval = Annotated[
    Union[_LevelAround, _LevelBetween],
    _choose(
        "write {nominal: 18 %LFL, tolerance: 2 %LFL} or {between: [16 %LFL, 20 %LFL]}", "#around", "#between"
    ),
]
#: The same where only a voltage will do.
VoltageInterval = Annotated[
    Union[_LevelAround, _LevelBetween],
    _choose("write {nominal: 4.75 V, tolerance: 50 mV} or {between: [4.7 V, 4.8 V]}", "#around", "#between"),
]


def span_of(value: Any) -> Span | None:
    """The span of a written interval; None for `not stated`, left out, or not whole."""
    if not isinstance(value, (Around, Within, Between)):
        return None
    return value.span() if all(value.at(key) is not None for key in value.needed_keys()) else None


def spans_of_moves(value: Any) -> tuple[Span | None, Span | None]:
    """The spans of a move to on and to off."""
    if isinstance(value, Both):
        return span_of(value.on), span_of(value.off)
    return span_of(value), span_of(value)


def ends_of(value: Any) -> tuple[Level, Level] | None:
    """The two ends of a written level interval; None if left out or not whole."""
    if not isinstance(value, (LevelAround, LevelBetween)):
        return None
    return value.ends() if all(value.at(key) is not None for key in value.needed_keys()) else None
