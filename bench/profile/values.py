"""The small values of a profile as pydantic types, and what all its mappings have in common.

Every type checks what is written *and* says so in the JSON Schema, so that an
editor refuses what the loader refuses.  A needed key is declared with
`needed`: the schema requires it, but the type tolerates its absence, so that
one missing key does not hide what else is wrong (`bench.profile.mistakes`
reports it).
"""

from __future__ import annotations

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
)

from bench.profile.quantities import (
    CODE_PATTERN,
    DURATION_PATTERN,
    GAS_PATTERN,
    LEVEL_PATTERN,
    VOLTAGE_PATTERN,
    parse_code,
    parse_duration,
    parse_gas,
    parse_level,
    parse_voltage,
)

NOT_STATED = "not stated"


def _written(pattern: str, *examples: str) -> WithJsonSchema:
    return WithJsonSchema({"type": "string", "pattern": pattern, "examples": list(examples)})


def _checked_gas(text: str) -> str:
    parse_gas(text)
    return text


Duration = Annotated[int, BeforeValidator(parse_duration), _written(DURATION_PATTERN, "6 min", "250 ms")]
Voltage = Annotated[int, BeforeValidator(parse_voltage), _written(VOLTAGE_PATTERN, "1.8 V", "20 mV")]
#: A key, so it stays as written: two ways to write one level must not become one in silence.
Gas = Annotated[str, AfterValidator(_checked_gas), _written(GAS_PATTERN, "18 %LFL", "25000 ppm")]
SensorLevel = Annotated[
    Any, BeforeValidator(parse_level), _written(LEVEL_PATTERN, "18 %LFL", "25000 ppm", "1.8 V")
]


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


#: For a value of one type, or the words `not stated`.
or_not_stated = Discriminator(lambda value: "#not-stated" if value == NOT_STATED else "#value")

NotStated = Annotated[Literal["not stated"], Tag("#not-stated")]
CodeOrNot = Annotated[
    Union[
        Annotated[
            str, BeforeValidator(parse_code), _written(CODE_PATTERN, "steady", "5 flashes"), Tag("#value")
        ],
        NotStated,
    ],
    or_not_stated,
]
VoltageOrNot = Annotated[Union[Annotated[Voltage, Tag("#value")], NotStated], or_not_stated]
BoolOrNot = Annotated[Union[Annotated[bool, Tag("#value")], NotStated], or_not_stated]
