"""A procedure file to steps.  All mistakes at once, each `file:line: key: what is wrong, what to write`."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from difflib import get_close_matches
from pathlib import Path
from typing import Any

from bench.errors import ProcedureError
from bench.procedure.steps import (
    FORMAT,
    Apply,
    Doing,
    Gesture,
    Presses,
    Procedure,
    Prompt,
    Require,
    Stairs,
    Step,
    Sweep,
    Until,
    Wait,
    WaitTimer,
)
from bench.procedure.timers import STARTED_BY
from bench.procedure.words import MOST_PRESSES
from bench.profile.quantities import parse_duration
from bench.profile.yamltext import YamlText, read_yaml
from firmware_ref.parameters import ACTIONS

_KEYS = ("format", "name", "about", "steps")
_VERBS = ("wait", "until", "require", "prompt")
_KINDS = ("call", "sensor", "main", "board", "button")
_WHAT = (
    "a stimulus (call.Y: on, sensor.1: leak, main: closed, button: self-test), wait, until, require or prompt"
)
_PRESSES = "{press: 8 s} or {presses: 3, within: 3 s}"


def read(path: str) -> Procedure:
    """The procedure in a YAML file; raises ProcedureError with one line for each mistake."""
    try:
        raw = Path(path).read_bytes()
    except OSError as e:
        raise ProcedureError(f"{path}: cannot be read ({e.strerror}); give the path of a procedure") from None
    return read_text(raw, path)


def read_text(raw: bytes, source: str) -> Procedure:
    """The same from the bytes of a file; `source` names it in mistakes."""
    return _Reader(read_yaml(raw), source).procedure()


class _Mistake(Exception):
    """Something is wrong at `path`; the text is what, and what to write."""

    def __init__(self, path: tuple[Any, ...], text: str) -> None:
        super().__init__(text)
        self.path = path


class _Reader:
    def __init__(self, text: YamlText, source: str) -> None:
        self._text = text
        self._source = source
        self._mistakes = list(text.mistakes)

    def procedure(self) -> Procedure:
        data = self._text.data
        steps: list[Step] = []
        if not isinstance(data, dict):
            if not self._mistakes:
                self._wrong((), f"is no procedure; begin with format: {FORMAT}")
        else:
            self._head(data)
            steps = list(self._steps(data.get("steps")))
        if self._mistakes:
            # One missing name may be missed in several ways: the first sentence for a place is enough.
            first = {(line, path): text for line, path, text in reversed(self._mistakes)}
            ordered = sorted(first.items(), key=lambda item: item[0][0])
            raise ProcedureError("\n".join(self._line(line, path, text) for (line, path), text in ordered))
        return Procedure(data["name"], data.get("about", ""), tuple(steps), source=self._source)

    def _line(self, line: int, path: tuple[Any, ...], text: str) -> str:
        key = ".".join(str(p + 1) if isinstance(p, int) else str(p) for p in path)
        return f"{self._source}:{line}: {key}: {text}" if key else f"{self._source}:{line}: {text}"

    def _wrong(self, path: tuple[Any, ...], text: str) -> None:
        self._mistakes.append((self._text.line_of(path), path, text))

    def _head(self, data: dict[str, Any]) -> None:
        for key in data:
            if key not in _KEYS:
                self._wrong((key,), f"is no key of a procedure{_meant(key, _KEYS)}")
        if data.get("format") != FORMAT:
            self._wrong(("format",), f"this is no procedure of ours; write format: {FORMAT}")
        name, about = data.get("name"), data.get("about", "")
        if not isinstance(name, str) or not name.strip():
            self._wrong(("name",), "a procedure needs a name; write name: my-test")
        if not isinstance(about, str):
            self._wrong(("about",), "must be a sentence")

    def _steps(self, steps: Any) -> Iterator[Step]:
        if not isinstance(steps, list) or not steps:
            self._wrong(("steps",), "a procedure needs steps, a list; write for example - main: closed")
            return
        for index, step in enumerate(steps):
            path = ("steps", index)
            try:
                yield self._step(step, path)
            except _Mistake as e:
                self._wrong(e.path, str(e))

    def _step(self, step: Any, path: tuple[Any, ...]) -> Step:
        if not isinstance(step, dict):
            raise _Mistake(path, f"is no step; write {_WHAT}")
        what = {key: value for key, value in step.items() if key != "part"}
        part = step.get("part", "")
        if not isinstance(part, str):
            raise _Mistake((*path, "part"), "must be a few words that name what begins here")
        if not what:
            raise _Mistake(path, f"does nothing; add {_WHAT}")
        where = f"{self._source}:{self._text.line_of(path)}"
        return Step(self._doing(what, path), part, where)

    def _doing(self, what: dict[str, Any], path: tuple[Any, ...]) -> Doing:
        verbs = [key for key in what if key in _VERBS]
        if not verbs:
            return self._stimulus(what, path)
        if len(what) > 1:
            raise _Mistake((*path, verbs[0]), "must be a step of its own; begin a new one with -")
        verb, value = verbs[0], what[verbs[0]]
        here = (*path, verb)
        if verb == "wait":
            return self._wait(value, here)
        if verb == "prompt":
            if not isinstance(value, str) or not value.strip():
                raise _Mistake(here, "must be a sentence that says what the person is to do")
            return Prompt(value)
        if verb == "until":
            return Until(*self._levels(value, here, "at_most", "{out.Y: off, at_most: 10 s}"))
        return Require(*self._levels(value, here, "within", "{sense.board: on, within: 200 ms}"))

    def _stimulus(self, what: dict[str, Any], path: tuple[Any, ...]) -> Doing:
        for channel, value in what.items():
            here = (*path, channel)
            if channel.partition(".")[0] not in _KINDS:
                raise _Mistake(here, f"is no step{_meant(channel, (*_VERBS, *_KINDS))}; write {_WHAT}")
            if channel == "button":
                if len(what) > 1:
                    raise _Mistake(here, "must be a step of its own; begin a new one with -")
                return self._button(value, here)
            if isinstance(value, dict):
                if len(what) > 1:
                    raise _Mistake(
                        here, "a ramp or stairs must be a step of their own; begin a new one with -"
                    )
                return (
                    self._stairs(channel, value, here)
                    if "stairs" in value
                    else self._sweep(channel, value, here)
                )
            if isinstance(value, (bool, list)) or value is None:
                raise _Mistake(
                    here, f"{_shown(value)} cannot be brought about; write on, off, closed, open, leak, …"
                )
        return Apply(tuple((channel, str(value)) for channel, value in what.items()))

    def _sweep(self, channel: str, value: dict[str, Any], here: tuple[Any, ...]) -> Sweep:
        ramp = value.get("ramp")
        if set(value) != {"ramp"} or not isinstance(ramp, dict) or set(ramp) != {"to", "over"}:
            raise _Mistake(here, "write a word, a quantity, or {ramp: {to: 24 %LFL, over: 30 s}}")
        over = self._duration(ramp["over"], (*here, "ramp", "over"))
        return Sweep(channel, str(ramp["to"]), over)

    def _button(self, value: Any, here: tuple[Any, ...]) -> Gesture | Presses:
        if isinstance(value, str):
            if value not in ACTIONS:
                raise _Mistake(
                    here,
                    f"{value} is no gesture{_meant(value, ACTIONS)}; write one of {', '.join(ACTIONS)}, or {_PRESSES}",
                )
            return Gesture(value)
        if isinstance(value, dict) and set(value) == {"press"}:
            return Presses(1, self._duration(value["press"], (*here, "press")))
        count = value.get("presses") if isinstance(value, dict) else None
        counts = isinstance(count, int) and not isinstance(count, bool) and 2 <= count <= MOST_PRESSES
        if not isinstance(value, dict) or set(value) != {"presses", "within"} or not counts:
            raise _Mistake(
                here, f"write one of {', '.join(ACTIONS)}, or {_PRESSES}, 2 to {MOST_PRESSES} presses"
            )
        assert isinstance(count, int)
        return Presses(count, self._duration(value["within"], (*here, "within")))

    def _stairs(self, channel: str, value: dict[str, Any], here: tuple[Any, ...]) -> Stairs:
        stairs = value["stairs"]
        levels = stairs.get("levels") if isinstance(stairs, dict) else None
        if (
            set(value) != {"stairs"}
            or set(stairs or ()) != {"levels", "each"}
            or not isinstance(levels, list)
        ):
            raise _Mistake(here, "write {stairs: {levels: [16 %LFL, 17 %LFL, 18 %LFL], each: 5 s}}")
        if len(levels) < 2 or not all(isinstance(level, str) for level in levels):
            raise _Mistake(
                (*here, "stairs", "levels"), "must be two quantities or more, as in [16 %LFL, 17 %LFL]"
            )
        return Stairs(channel, tuple(levels), self._duration(stairs["each"], (*here, "stairs", "each")))

    def _wait(self, value: Any, here: tuple[Any, ...]) -> Wait | WaitTimer:
        if not isinstance(value, dict):
            return Wait(self._duration(value, here))
        timer = value.get("timer")
        if not isinstance(timer, str) or timer not in STARTED_BY:
            raise _Mistake(
                (*here, "timer"),
                f"{_shown(timer)} is no timer{_meant(timer, STARTED_BY)}; write one of {', '.join(STARTED_BY)}",
            )
        how = {key: v for key, v in value.items() if key != "timer"}
        if how == {"past": "max"}:
            return WaitTimer(timer)
        share = how.get("at")
        if (
            set(how) == {"at"}
            and isinstance(share, (int, float))
            and not isinstance(share, bool)
            and 0 <= share <= 1
        ):
            return WaitTimer(timer, float(share))
        raise _Mistake(
            here, f"write {{timer: {timer}, past: max}} or {{timer: {timer}, at: 0.5}} (a share from 0 to 1)"
        )

    def _levels(
        self, value: Any, here: tuple[Any, ...], limit: str, example: str
    ) -> tuple[tuple[tuple[str, str], ...], int]:
        if not isinstance(value, dict) or limit not in value or len(value) < 2:
            raise _Mistake(here, f"needs what is to be seen and {limit}; write {example}")
        us = self._duration(value[limit], (*here, limit))
        levels = [(ch, level) for ch, level in value.items() if ch != limit]
        for ch, level in levels:
            if not isinstance(level, str):
                raise _Mistake((*here, ch), f"{_shown(level)} cannot be read; write on, off, open or closed")
        return tuple(levels), us

    def _duration(self, value: Any, here: tuple[Any, ...]) -> int:
        parse: Callable[[Any], int] = parse_duration
        try:
            return parse(value)
        except ValueError as e:
            raise _Mistake(here, str(e)) from None


def _meant(word: Any, known: Any) -> str:
    close = get_close_matches(str(word), list(known), 1)
    return f" (did you mean {close[0]}?)" if close else ""


def _shown(value: Any) -> str:
    if value is None:
        return "nothing"
    if isinstance(value, bool):
        return "true" if value else "false"
    return "a list" if isinstance(value, list) else "a mapping" if isinstance(value, dict) else str(value)
