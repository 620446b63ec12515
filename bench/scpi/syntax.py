"""Program messages taken apart: headers, parameters, channel lists (IEEE 488.2 chapter 7, SCPI-1999 volume 1).

A whole line is parsed before anything of it is carried out, so that a line
with a mistake does nothing.
"""

from __future__ import annotations

import re
from itertools import product
from typing import NamedTuple

from bench.scpi.errors import ScpiError

_HEADER = re.compile(r"\s*(\*[A-Za-z]+|:?[A-Za-z]\w*(?::[A-Za-z]\w*)*)(\?)?(?=[\s;]|\Z)")
_PARAMETER = re.compile(
    r"""\s*(?:
    (?P<number>[+-]?(?:\d+\.?\d*|\.\d+)(?:[Ee][+-]?\d+)?)\s*(?P<unit>[A-Za-z]+)?
    |\#(?:[Hh](?P<hex>[0-9A-Fa-f]+)|[Qq](?P<octal>[0-7]+)|[Bb](?P<binary>[01]+))
    |(?P<word>[A-Za-z]\w*)
    |"(?P<double>(?:[^"]|"")*)"
    |'(?P<single>(?:[^']|'')*)'
    |\(@(?P<channels>[^()]*)\)
    )\s*""",
    re.VERBOSE,
)
_RANGE = re.compile(r"\s*(\d{1,9})\s*(?::\s*(\d{1,9})\s*)?\Z")
#: Longest list that a range may spell out; far above any fixture's number of channels.
_CHANNELS = 256


class Parameter(NamedTuple):
    """`kind`: number, integer (#H, #Q, #B), word, string, channels.  `text` as written, strings without quotes."""

    kind: str
    text: str
    unit: str = ""


class Unit(NamedTuple):
    """One command of a message.  `header`: absolute, upper case, with its `?` if it is a query."""

    header: str
    parameters: tuple[Parameter, ...]


def parse(text: str) -> tuple[Unit, ...]:
    """The commands of one program message; raises ScpiError."""
    units: list[Unit] = []
    path = ""
    at = 0
    while at < len(text):
        found = _HEADER.match(text, at)
        if found is None:
            raise ScpiError(-102)
        header = found.group(1).upper()
        if header[0] != "*":
            header = header[1:] if header[0] == ":" else path + header
            path = header[: header.rfind(":") + 1]
        parameters, at = _parameters(text, found.end())
        units.append(Unit(header + (found.group(2) or ""), parameters))
    return tuple(units)


def _parameters(text: str, at: int) -> tuple[tuple[Parameter, ...], int]:
    found: list[Parameter] = []
    while text[at : at + 1].isspace():
        at += 1
    while at < len(text) and text[at] != ";":
        match = _PARAMETER.match(text, at)
        if match is None:
            raise ScpiError(-151 if text[at] in "\"'" else -102)
        found.append(_parameter(match))
        at = match.end()
        if at < len(text) and text[at] != ";":
            if text[at] != ",":
                raise ScpiError(-103)
            at += 1
            if text[at:].lstrip()[:1] in ("", ";"):
                raise ScpiError(-102)
    return tuple(found), at + 1


def _parameter(match: re.Match[str]) -> Parameter:
    kind = match.lastgroup
    if kind == "unit":
        return Parameter("number", match["number"], match["unit"].upper())
    assert kind is not None
    value = match[kind]
    if kind in ("hex", "octal", "binary"):
        return Parameter("integer", str(int(value, {"hex": 16, "octal": 8, "binary": 2}[kind])))
    if kind == "double":
        return Parameter("string", value.replace('""', '"'))
    if kind == "single":
        return Parameter("string", value.replace("''", "'"))
    return Parameter(kind, value.upper() if kind == "word" else value)


def spellings(mnemonic: str) -> tuple[str, ...]:
    """`SYSTem` is written SYST or SYSTEM."""
    short = "".join(c for c in mnemonic if not c.islower())
    return (short,) if short == mnemonic else (short, mnemonic.upper())


def headers(pattern: str) -> list[str]:
    """All ways to write a header such as `SYSTem:ERRor[:NEXT]?`, upper case."""
    query = "?" if pattern.endswith("?") else ""
    ways: list[list[tuple[str, ...]]] = [[]]
    for part in re.findall(r"\[:\w+\]|[*\w]+", pattern):
        words = spellings(part.strip("[:]"))
        longer = [[*way, words] for way in ways]
        ways = longer + (ways if part[0] == "[" else [])
    return [":".join(words) + query for way in ways for words in product(*way)]


# -- values of parameters ----------------------------------------------------------------------

#: Unit -> micro-units in one.
_MICRO = {
    "voltage": {"": 1_000_000, "V": 1_000_000, "MV": 1_000, "UV": 1},
    "time": {"": 1_000_000, "S": 1_000_000, "MS": 1_000, "US": 1},
}


def micro(parameter: Parameter, quantity: str) -> int:
    """A `voltage` in uV or a `time` in us; raises ScpiError."""
    if parameter.kind != "number":
        raise ScpiError(-104)
    factor = _MICRO[quantity].get(parameter.unit)
    if factor is None:
        raise ScpiError(-131)
    value = float(parameter.text) * factor
    if abs(value) >= 1e15:
        raise ScpiError(-222)
    return round(value)


def integer(parameter: Parameter, low: int, high: int) -> int:
    """A whole number in [low, high]; raises ScpiError."""
    if parameter.kind not in ("number", "integer"):
        raise ScpiError(-104)
    if parameter.unit:
        raise ScpiError(-138)
    text = parameter.text
    value = int(text) if text.lstrip("+-").isdigit() else float(text)
    if not low <= value <= high:
        raise ScpiError(-222)
    return round(value)


def word(parameter: Parameter, patterns: tuple[str, ...]) -> str:
    """Which of the patterns (`SHORt`) a word is, as its short form; raises ScpiError."""
    if parameter.kind != "word":
        raise ScpiError(-104)
    for pattern in patterns:
        ways = spellings(pattern)
        if parameter.text in ways:
            return ways[0]
    raise ScpiError(-141)


def string(parameter: Parameter) -> str:
    if parameter.kind != "string":
        raise ScpiError(-104)
    return parameter.text


def channels(parameter: Parameter) -> tuple[int, ...]:
    """The channels of a list such as `(@3,5:7)`, in the order written; raises ScpiError."""
    if parameter.kind != "channels":
        raise ScpiError(-104)
    found: list[int] = []
    for part in parameter.text.split(","):
        match = _RANGE.match(part)
        if match is None:
            raise ScpiError(-102)
        first, last = int(match[1]), int(match[2] or match[1])
        step = 1 if last >= first else -1
        if abs(last - first) + len(found) >= _CHANNELS:
            raise ScpiError(-222)
        found.extend(range(first, last + step, step))
    return tuple(found)


def channel_list(numbers: tuple[int, ...]) -> str:
    """`(@3,5)`."""
    return f"(@{','.join(map(str, numbers))})"
