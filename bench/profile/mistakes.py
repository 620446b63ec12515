"""All mistakes of a file at once, each with its place and what to write.

Pydantic stops at the first error of each value.  So that it does not hide the
next, what is wrong is taken out and the rest is validated again, until what
is left is right; that is the form which the cross-checks look at.
"""

from __future__ import annotations

import copy
from collections.abc import Iterable
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Any

from pydantic import ValidationError

from bench.profile.form import ProfileForm
from bench.profile.intervals import FORM_OF_KEY
from bench.profile.values import NOT_STATED, Form
from bench.profile.yamltext import Path


@dataclass(frozen=True, slots=True)
class Mistake:
    """What is wrong at `path` and what to write, as one sentence fragment.

    `meant`: the key that a misspelt one probably means; that one is then not
    reported as missing.  `unless`: not reported if something is wrong there
    (of its own path: inside it), for it only follows from that.
    """

    path: Path
    text: str
    meant: str | None = None
    unless: Path | None = None

    @property
    def missing(self) -> bool:
        return self.text.startswith("is missing")


def without_echoes(mistakes: Iterable[Mistake]) -> list[Mistake]:
    """One mistake for each place, and none that only follows from another."""
    every = list(mistakes)
    meant = {(*m.path[:-1], m.meant) for m in every if m.meant is not None}
    wrong = {m.path[:i] for m in every if not m.missing for i in range(1, len(m.path) + 1)}
    places = {m.path for m in every}
    around = {m.path[:i] for m in every for i in range(1, len(m.path))}
    first: dict[Any, Mistake] = {}
    for mistake in every:
        follows = mistake.unless in (around if mistake.unless == mistake.path else wrong | places) or (
            mistake.missing and mistake.path in meant | wrong
        )
        if not follows:
            first.setdefault(mistake.path or mistake.text, mistake)
    return list(first.values())


def dotted(path: Path) -> str:
    """`('timing', 'hold', 'between', 1)` → `timing.hold.between[1]`."""
    text = ""
    for part in path:
        text += f"[{part}]" if isinstance(part, int) else f".{part}" if text else str(part)
    return text


def read_form(data: Any) -> tuple[ProfileForm | None, list[Mistake]]:
    """The form, without what is wrong, and what is wrong.  None only if `data` is no mapping."""
    if not isinstance(data, dict):
        return None, [Mistake((), "a profile is a mapping; begin with format: mitbench-profile-1")]
    rest = copy.deepcopy(data)
    first: list[
        tuple[Path, Any]
    ] = []  # those of the first pass; later ones only follow from what was taken out
    while True:
        try:
            form = ProfileForm.model_validate(rest)
            break
        except ValidationError as e:
            errors = [(_path(error["loc"]), error) for error in e.errors(include_url=False)]
            first = first or _without_nameless(errors)
            _take_out(rest, {path for path, _ in errors})
    return form, [_mistake(form, path, error) for path, error in first] + _missing(form, data)


def _path(loc: Iterable[Any]) -> Path:
    return tuple(
        part for part in loc if not (isinstance(part, str) and part.startswith("#")) and part != "[key]"
    )


def _without_nameless(errors: list[tuple[Path, Any]]) -> list[tuple[Path, Any]]:
    """Without what is wrong inside a mapping whose own name is wrong: nobody knows what it was meant to be."""
    nameless = {path for path, error in errors if "[key]" in error["loc"]}
    return [
        (path, error)
        for path, error in errors
        if not any(path[:i] in nameless for i in range(1, len(path)))
        and (path not in nameless or "[key]" in error["loc"])
    ]


def _take_out(data: Any, paths: set[Path]) -> None:
    """Remove what stands at each path; a list with a wrong item goes as a whole, for it says less than it should."""
    for path in paths:
        keys = next((path[:i] for i, part in enumerate(path) if isinstance(part, int)), path)
        holder = data
        for key in keys[:-1]:
            holder = holder.get(key, {})
        holder.pop(keys[-1], None)


def _form_at(form: Form, path: Path) -> Any:
    here: Any = form
    for part in path:
        if isinstance(here, Form):
            here = here.at(part)
        elif isinstance(here, dict):
            here = here.get(part)
        else:
            return None
    return here


def _missing(form: Form, data: dict[str, Any]) -> list[Mistake]:
    """Needed keys that the file does not have."""
    found: list[Mistake] = []

    def look(here: Any, written: Any, path: Path) -> None:
        if isinstance(here, Form):
            about = {f.alias or n: f.description for n, f in type(here).model_fields.items()}
            if written and not about.keys() & written.keys():
                return  # written in another form, of which what was wrong is taken out
            found.extend(
                Mistake((*path, key), f"is missing; write it ({_lower(about[key])})")
                for key in here.needed_keys()
                if key not in written
            )
            here = {key: here.at(key) for key in about}
        if isinstance(here, dict):
            for key, value in here.items():
                if key in written and value is not None:
                    look(value, written[key], (*path, key))

    look(form, data, ())
    return found


def _lower(about: str | None) -> str:
    text = (about or "").rstrip(".")
    return text[:1].lower() + text[1:] if text[1:2].islower() or text[1:2] == " " else text


def _nearest(word: str, words: Iterable[str]) -> str | None:
    options = {option.lower(): option for option in words}
    near = get_close_matches(word.lower().replace("-", "_"), options, 1, 0.6) or get_close_matches(
        word.lower().replace("_", "-"), options, 1, 0.6
    )
    return options[near[0]] if near else None


def _mistake(form: ProfileForm, path: Path, error: Any) -> Mistake:
    if error["type"] != "extra_forbidden":
        return Mistake(path, _sentence(path, error))
    parent = _form_at(form, path[:-1])
    tag = next((part for part in reversed(error["loc"]) if str(part).startswith("#")), None)
    written_so = [key for key, form_tag in FORM_OF_KEY.items() if form_tag == tag]
    keys = (
        parent.known_keys() if isinstance(parent, Form) else written_so
    )  # nothing else may have been right in it
    near = _nearest(str(path[-1]), keys)
    if near is not None:
        return Mistake(path, f"is not known; did you mean {near}?", meant=near)
    return Mistake(path, f"is not known; remove it (the keys here are {', '.join(keys)})")


def listed(values: Iterable[str]) -> str:
    """`a, b or c`."""
    names = list(values)
    return names[0] if len(names) == 1 else ", ".join(names[:-1]) + f" or {names[-1]}"


def _shown(value: Any) -> str:
    if value is None:
        return "empty"
    if isinstance(value, dict):
        return "a mapping"
    if isinstance(value, list):
        return "a list"
    text = {True: "true", False: "false"}[value] if isinstance(value, bool) else str(value)
    return text if len(text) <= 40 else text[:37] + "..."


def _sentence(path: Path, error: Any) -> str:
    """What pydantic found, in our words."""
    kind, value, context = error["type"], error["input"], error.get("ctx", {})
    if value == NOT_STATED and kind in ("literal_error", "value_error", "which_form"):
        return f"cannot be not stated; write {_instead(path, error)}"
    if kind == "literal_error":
        options = _options(path, context)
        near = _nearest(value, options) if isinstance(value, str) else None
        guess = f"; did you mean {near}?" if near else f"; write {listed(options)}"
        return (
            f"is {_shown(value)}, which is not known{guess}"
            if value is not None
            else f"is empty; write {listed(options)}"
        )
    if kind == "value_error":
        return str(context["error"])
    if kind == "which_form":
        what = "is written in no known way" if isinstance(value, dict) else f"is {_shown(value)}"
        return f"{what}; {error['msg']}"
    if kind == "string_pattern_mismatch":
        return f"is {_shown(value)}, which is no such name; {_NAMES.get(path[0], _A_NAME)}"
    if kind == "too_short":
        return f"has {context['actual_length']}; write at least {context['min_length']}"
    if kind == "too_long":
        return f"has {context['actual_length']}; write at most {context['max_length']}"
    if kind in ("string_too_long",):
        return f"is longer than {context['max_length']} characters; write fewer"
    if kind in ("greater_than_equal", "less_than_equal"):
        limit = f"{context['ge']} or more" if "ge" in context else f"{context['le']} or less"
        return f"is {_shown(value)}; write {'1 to 999' if path[0] == 'wiring' else limit}"
    wanted = _WANTED.get(kind)
    return f"is {_shown(value)}; write {wanted}" if wanted else f"is {_shown(value)}: {error['msg']}"


#: What stands in for a figure that the maker does not give, by the last key that has a name of its own.
_INSTEAD = {
    "glitch": "the longest pulse that you would overlook, as in 30 ms",
    "press": "how long you would press at most for it not to count, and at least for it to count, as in {between: [30 ms, 150 ms]}",
    "sensor_supply": "what you measure at the board, as in {nominal: 5 V, tolerance: 25 mV}",
}
_KEYS_OF_FORMS = ("nominal", "tolerance", "within", "between", "on", "off")


def _options(path: Path, context: dict[str, Any]) -> list[str]:
    """The words of which one must stand there; of an output's modes those of its kind."""
    options = [option.strip("'") for option in context["expected"].replace(" or ", ", ").split(", ")]
    if path[:1] == ("outputs",) and "modes" in path:
        contacts = ("open", "closed")
        alarm = str(path[1]).startswith("alarm.")
        options = [option for option in options if (option in contacts) == alarm]
    return options


def _instead(path: Path, error: Any) -> str:
    """What to write where `not stated` cannot be."""
    if error["type"] == "literal_error":
        return listed(_options(path, error["ctx"]))
    names = [part for part in path if isinstance(part, str) and part not in _KEYS_OF_FORMS]
    # Of a gesture the press is a figure of the maker's.
    known = (
        _INSTEAD.get(names[-1])
        if names and (names[-1] != "press" or names[-2:] == ["button", "press"])
        else None
    )
    if known is not None:
        return known
    if path[-1] == "tolerance":
        return "how far from the nominal you would still accept it"
    if names[:1] == ["sensors"]:
        return "the figure that you would test by"
    return "how long you would wait, as the other times are written"


_A_NAME = "write letters, digits and single hyphens, beginning with a letter"
_NAMES = {
    "sensors": "write a number from 1, in quotes",
    "outputs": "write letters and digits as in Y, or alarm.no, alarm.nc for the alarm contacts",
    "wiring": "write a name as in call.Y, out.Y, sensor.1, alarm.no, main, board, sense.main",
}
_WANTED = {
    "model_type": "key: value pairs",
    "model_attributes_type": "key: value pairs",
    "dict_type": "key: value pairs",
    "list_type": "a list, as in [Y, W, G]",
    "string_type": "text (in quotes if it is all digits)",
    "bool_type": "true or false",
    "int_type": "a whole number",
    "int_from_float": "a whole number",
}
