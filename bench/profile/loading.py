"""From a file, or the data in a trace header, to a `Profile`."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterable
from difflib import get_close_matches
from pathlib import Path
from typing import Any

from bench.data import profiles_dir
from bench.errors import ProfileError
from bench.profile import checks
from bench.profile.build import build, bus_names, sensor_terminals
from bench.profile.doubts import doubts, of_refrigerant
from bench.profile.form import ProfileForm
from bench.profile.mistakes import Mistake, dotted, read_form, without_echoes
from bench.profile.model import Profile, Report
from bench.profile.wiring import channel_table, needed_names, wire
from bench.profile.yamltext import Path as YamlPath
from bench.profile.yamltext import YamlText, read_yaml

SCHEMA_DIALECT = "https://json-schema.org/draft/2020-12/schema"


def load(name_or_path: str) -> Profile:
    """See `bench.profile.load`."""
    path = _find(name_or_path)
    text, form, errors = _read(path)
    if errors or form is None:
        raise ProfileError("\n".join(errors))
    return _profile(form, text.data, str(path))


def from_data(data: object, source: str) -> Profile:
    """See `bench.profile.from_data`."""
    form, mistakes = read_form(data)
    if form is not None:
        mistakes = without_echoes([*mistakes, *checks.errors(form)])
    if mistakes or form is None:
        raise ProfileError("\n".join(_line(source, None, m) for m in mistakes))
    assert isinstance(data, dict)
    return _profile(form, data, source)


def check(path: str, more: Callable[[Profile], Iterable[tuple[YamlPath, str]]] | None = None) -> Report:
    """See `bench.profile.check`."""
    try:
        found = _find(path)
        text, form, errors = _read(found)
    except ProfileError as e:
        return Report(errors=str(e).split("\n"))
    if errors or form is None:
        return Report(errors=errors)
    profile = _profile(form, text.data, str(found))
    warned = [*doubts(profile.parameters), *of_refrigerant(form.refrigerant)]
    if more is not None:
        warned += [Mistake(where, sentence) for where, sentence in more(profile)]
    return Report(warnings=[_line(str(found), text, m) for m in _ordered(text, warned)])


def schema() -> dict[str, Any]:
    """See `bench.profile.schema`."""
    made = ProfileForm.model_json_schema(by_alias=True)
    return {"$schema": SCHEMA_DIALECT, "title": "Profile of a leak-mitigation board", **made}


def _find(name_or_path: str) -> Path:
    names = {p.stem: p for p in sorted(profiles_dir().glob("*.yaml"))}
    if name_or_path in names:
        return names[name_or_path]
    path = Path(name_or_path)
    if path.is_file():
        return path
    if path.is_dir():
        raise ProfileError(f"{name_or_path}: is a folder; name one profile in it")
    near = get_close_matches(name_or_path, names, 1)
    guess = f"did you mean {near[0]}? " if near else ""
    raise ProfileError(
        f"{name_or_path}: no such profile; {guess}name a file or a shipped profile ({', '.join(names)})"
    )


def _read(path: Path) -> tuple[YamlText, ProfileForm | None, list[str]]:
    """The text, the form and the lines of all mistakes."""
    try:
        raw = path.read_bytes()
    except OSError as e:
        raise ProfileError(f"{path}: cannot be read ({e.strerror}); name a file that can be read") from None
    text = read_yaml(raw)
    mistakes = [Mistake(where, sentence) for _, where, sentence in text.mistakes]
    lines = {(m.path, m.text): line for (line, _, _), m in zip(text.mistakes, mistakes, strict=True)}
    form: ProfileForm | None = None
    if text.data is not None or not mistakes:
        form, found = read_form(text.data)
        mistakes += found
        if form is not None:
            mistakes += checks.errors(form) + checks.of_file(form, path, channel_table())
    ordered = _ordered(text, without_echoes(mistakes), lines)
    return text, form, [_line(str(path), text, m, lines.get((m.path, m.text))) for m in ordered]


def _ordered(text: YamlText, mistakes: list[Mistake], lines: dict[Any, int] | None = None) -> list[Mistake]:
    return sorted(mistakes, key=lambda m: (lines or {}).get((m.path, m.text)) or text.line_of(m.path))


def _line(source: str, text: YamlText | None, mistake: Mistake, line: int | None = None) -> str:
    place = source if text is None else f"{source}:{line or text.line_of(mistake.path)}"
    key = f"{dotted(mistake.path)}: " if mistake.path else ""
    return f"{place}: {key}{mistake.text}"


def _profile(form: ProfileForm, data: dict[str, Any], source: str) -> Profile:
    written = json.dumps(data, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    names = needed_names(
        form.calls,
        list(form.outputs),
        sensor_terminals(form),
        form.supply.calls_fed_from,
        button=form.button is not None,
        light=form.light is not None,
    )
    return Profile(
        name=form.name,
        data=data,
        sha256=hashlib.sha256(written.encode()).hexdigest(),
        parameters=build(form),
        wiring=wire(names, form.wiring or {}, channel_table(), bus_names(form)),
        source=source,
    )
