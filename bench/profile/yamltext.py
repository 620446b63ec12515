"""YAML text to plain data, with the line of every key.

PyYAML reads YAML 1.1, where `on` is true, `010` is eight and `12:30:00` is
45000.  Here scalars mean what YAML 1.2 says (its core schema): `on`, `off`,
`yes`, `no` are text, `010` is ten, and no date exists.  Tags, anchors and
aliases are refused, so nothing is built but mappings, lists, texts, numbers,
booleans and null, and the text cannot grow while it is read.  Keys are always
text, as written.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import Any, ClassVar

import yaml

#: Where something stands: the keys (and list indices) that lead to it.
Path = tuple[Any, ...]

_NULL = re.compile(r"(?:~|null|Null|NULL|)")
_BOOL = re.compile(r"(?:true|True|TRUE|false|False|FALSE)")
_INT = re.compile(r"[-+]?[0-9]+|0o[0-7]+|0x[0-9a-fA-F]+")
_FLOAT = re.compile(r"[-+]?(?:\.[0-9]+|[0-9]+(?:\.[0-9]*)?)(?:[eE][-+]?[0-9]+)?")
_NOT_FINITE = re.compile(r"[-+]?\.(?:inf|Inf|INF)|\.(?:nan|NaN|NAN)")

#: Far above any profile or procedure; a guard against a wrong file.
LARGEST_BYTES = 1_000_000
DEEPEST = 40


class _Loader(getattr(yaml, "CSafeLoader", yaml.SafeLoader)):  # type: ignore[misc]
    """Leaves every plain scalar untyped: `_Reader` decides by YAML 1.2."""

    yaml_implicit_resolvers: ClassVar[dict[str, Any]] = {}


@dataclass(slots=True)
class YamlText:
    """What a text says.  `lines`: path → line, from 1; `mistakes`: (line, path, sentence)."""

    data: Any = None
    lines: dict[Path, int] = field(default_factory=dict)
    mistakes: list[tuple[int, Path, str]] = field(default_factory=list)

    def line_of(self, path: Path) -> int:
        """Line of the nearest thing on the way to `path` that the text has."""
        while path not in self.lines and path:
            path = path[:-1]
        return self.lines.get(path, 1)


def read_yaml(raw: bytes) -> YamlText:
    """Read one YAML document.  Never raises: what is wrong is in `mistakes`."""
    result = YamlText()
    if len(raw) > LARGEST_BYTES:
        result.mistakes.append((1, (), "the file is larger than 1 MB; this is no file of ours"))
        return result
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as e:
        line = raw.count(b"\n", 0, e.start) + 1
        result.mistakes.append((line, (), "the text is not UTF-8; save the file as UTF-8"))
        return result
    try:
        node = yaml.compose(text, _Loader)
    except yaml.MarkedYAMLError as e:
        mark = e.problem_mark or e.context_mark
        line = mark.line + 1 if mark else 1
        result.mistakes.append((line, (), _unreadable(e, text.split("\n")[line - 1 : line])))
        return result
    except (yaml.YAMLError, RecursionError) as e:
        why = "a character that YAML does not allow" if isinstance(e, yaml.YAMLError) else "nested too deeply"
        result.mistakes.append((1, (), f"cannot be read as YAML: {why}; remove it"))
        return result
    if node is not None:
        result.data = _Reader(result).value(node, ())
        result.lines.setdefault((), node.start_mark.line + 1)
    return result


_NO_ALIASES = "anchors and aliases (&name, *name) are not read; write the value out"


def _unreadable(error: yaml.MarkedYAMLError, line: list[str]) -> str:
    problem = " ".join((error.problem or error.context or "").split())
    if "expected a single document" in (error.context or ""):
        return "there is more than one YAML document; keep only one (remove the line ---)"
    if line and line[0].lstrip(" ").startswith("\t"):
        return "a tab stands where YAML wants spaces; indent with spaces"
    if "undefined alias" in problem or "duplicate anchor" in problem:
        return _NO_ALIASES
    return f"cannot be read as YAML: {problem}; check indentation, colons, brackets and quotes"


class _Reader:
    """Builds the data of one composed document."""

    def __init__(self, result: YamlText) -> None:
        self._result = result
        self._seen: set[int] = set()

    def value(self, node: Any, path: Path) -> Any:
        if id(node) in self._seen:
            # The node's own mark is where its anchor stands, not the alias.
            self._result.mistakes.append((self._result.line_of(path), path, _NO_ALIASES))
            return None
        self._seen.add(id(node))
        if len(path) > DEEPEST:
            self._wrong(node, path[:DEEPEST], "is nested too deeply; write it flatter")
            return None
        if isinstance(node, yaml.MappingNode):
            self._plain_tag(node, path, "map")
            return self._mapping(node, path)
        if isinstance(node, yaml.SequenceNode):
            self._plain_tag(node, path, "seq")
            items = []
            for index, item in enumerate(node.value):
                here = (*path, index)
                self._result.lines[here] = item.start_mark.line + 1
                items.append(self.value(item, here))
            return items
        return self._scalar(node, path)

    def _mapping(self, node: Any, path: Path) -> dict[str, Any]:
        data: dict[str, Any] = {}
        for key_node, value_node in node.value:
            if not isinstance(key_node, yaml.ScalarNode):
                self._wrong(key_node, path, "a key must be one word or number; write key: value")
                continue
            key = key_node.value
            here = (*path, key)
            line = key_node.start_mark.line + 1
            if key in data:
                first = self._result.lines[here]
                self._result.mistakes.append(
                    (line, here, f"stands twice (first in line {first}); keep only one")
                )
                continue
            self._result.lines[here] = line
            data[key] = self.value(value_node, here)
        return data

    def _scalar(self, node: Any, path: Path) -> Any:
        text: str = node.value
        self._plain_tag(node, path, "str")
        return text if node.style else self._core(text, node, path)

    def _core(self, text: str, node: Any, path: Path) -> Any:
        """A plain scalar by the YAML 1.2 core schema."""
        if _NULL.fullmatch(text):
            return None
        if _BOOL.fullmatch(text):
            return text.lower() == "true"
        if _NOT_FINITE.fullmatch(text):
            self._wrong(node, path, f"is {text}, which is no number; write a number")
            return None
        if len(text) > 300:
            return text
        if _INT.fullmatch(text):
            if text.startswith(("0o", "0x")):
                return int(text, 0)
            return int(text)
        if _FLOAT.fullmatch(text):
            number = float(text)
            if number - number != 0:  # beyond the range of a double
                self._wrong(node, path, f"is {text}, which is too large; write a smaller number")
                return None
            return number
        return text

    def _plain_tag(self, node: Any, path: Path, kind: str) -> None:
        if node.tag != f"tag:yaml.org,2002:{kind}":
            self._wrong(node, path, f"tags ({node.tag}) are not read; write the plain value")

    def _wrong(self, node: Any, path: Path, sentence: str) -> None:
        self._result.mistakes.append((node.start_mark.line + 1, path, sentence))
