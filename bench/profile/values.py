"""The small values of a profile as pydantic types: times, levels, intervals, limits.

Every type checks what is written *and* says so in the JSON Schema, so that an
editor refuses what the loader refuses.  A needed key is declared with
`needed`: the schema requires it, but the type tolerates its absence, so that
one missing key does not hide what else is wrong (`bench.profile.mistakes`
reports it).
"""

from __future__ import annotations

from difflib import get_close_matches
from typing import Annotated, Any, Literal, Union

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Discriminator,
    Field,
    Tag,
    WithJsonSchema,
    model_validator,
)

from bench.profile.quantities import (
    DURATION_PATTERN,
    LEVEL_PATTERN,
    LFL_PATTERN,
    VOLTAGE_PATTERN,
    Level,
    format_duration,
    parse_duration,
    parse_level,
    parse_lfl,
    parse_voltage,
)
from firmware_ref.parameters import Interval as Span

NOT_STATED = "not stated"


def _written(pattern: str, *examples: str) -> WithJsonSchema:
    return WithJsonSchema({"type": "string", "pattern": pattern, "examples": list(examples)})


def _checked_lfl(text: str) -> str:
    parse_lfl(text)
    return text


Duration = Annotated[int, BeforeValidator(parse_duration), _written(DURATION_PATTERN, "6 min", "250 ms")]
Voltage = Annotated[int, BeforeValidator(parse_voltage), _written(VOLTAGE_PATTERN, "1.8 V", "20 mV")]
#: A key, so it stays as written: two ways to write one level must not become one in silence.
Lfl = Annotated[str, AfterValidator(_checked_lfl), _written(LFL_PATTERN, "18 %LFL")]
SensorLevel = Annotated[Any, BeforeValidator(parse_level), _written(LEVEL_PATTERN, "18 %LFL", "1.8 V")]


def needed(about: str, **more: Any) -> Any:
    """A key that must be written.  Its value is None only while mistakes are being collected."""
    return Field(default=None, description=about, json_schema_extra={"needed": True}, **more)


def optional(about: str, **more: Any) -> Any:
    """A key that may be left out; `about` says what then holds."""
    return Field(default=None, description=about, **more)


def _as_the_loader_does(schema: dict[str, Any]) -> None:
    """Required keys, names of entries, no default where nothing is the default."""
    required = []
    for name, about in schema.get("properties", {}).items():
        if about.pop("needed", False):
            required.append(name)
        if about.get("default", 0) is None:
            del about["default"]
        if "patternProperties" in about:
            about["additionalProperties"] = False
        about.pop("title", None)
    schema.pop("title", None)
    if required:
        schema["required"] = required


class Form(BaseModel):
    """A mapping of a profile: unknown keys are mistakes, values do not change."""

    model_config = ConfigDict(
        extra="forbid",
        frozen=True,
        defer_build=True,
        strict=True,
        populate_by_name=False,
        json_schema_extra=_as_the_loader_does,
    )

    @classmethod
    def needed_keys(cls) -> list[str]:
        return [
            field.alias or name
            for name, field in cls.model_fields.items()
            if isinstance(field.json_schema_extra, dict) and field.json_schema_extra.get("needed")
        ]

    @classmethod
    def known_keys(cls) -> list[str]:
        return [field.alias or name for name, field in cls.model_fields.items()]

    def at(self, key: str) -> Any:
        """The value under a key as written in the file."""
        return next(
            (getattr(self, n) for n, f in type(self).model_fields.items() if (f.alias or n) == key), None
        )


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
        if self.between is not None and len(self.between) == 2 and self.between[0] > self.between[1]:
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
        if self.between is not None and len(self.between) == 2:
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


#: For a value of one type, or the words `not stated`.
or_not_stated = Discriminator(lambda value: "#not-stated" if value == NOT_STATED else "#value")

NotStated = Annotated[Literal["not stated"], Tag("#not-stated")]
VoltageOrNot = Annotated[Union[Annotated[Voltage, Tag("#value")], NotStated], or_not_stated]
BoolOrNot = Annotated[Union[Annotated[bool, Tag("#value")], NotStated], or_not_stated]

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


def span_of(value: Any) -> Span | None:
    """The span of a written interval; None for `not stated`, left out, or not whole."""
    if not isinstance(value, (Around, Within, Between)):
        return None
    whole = all(value.at(key) is not None for key in value.needed_keys())
    if isinstance(value, Between):
        whole = whole and len(value.between) == 2
    return value.span() if whole else None


def spans_of_moves(value: Any) -> tuple[Span | None, Span | None]:
    """The spans of a move to on and to off."""
    if isinstance(value, Both):
        return span_of(value.on), span_of(value.off)
    return span_of(value), span_of(value)


def ends_of(value: Any) -> tuple[Level, Level] | None:
    """The two ends of a written level interval; None if left out or not whole."""
    if isinstance(value, LevelAround) and value.nominal is not None and value.tolerance is not None:
        return value.ends()
    if isinstance(value, LevelBetween) and value.between is not None and len(value.between) == 2:
        return value.ends()
    return None
