"""The recall of the last fault judged: its gesture makes the light show that fault's code once, between pauses.

Only in normal, and only where it is known which fault was the last one, or
that none is stored.  The code must begin within `latency` and a pause after
the board must have known the gesture.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

from bench.judge.book import Book
from bench.judge.findings import Finding
from bench.judge.flashes import Lengths, Shown
from bench.judge.gestures import Ask
from bench.judge.mode_log import ModeLog
from firmware_ref.parameters import Light, Mode, Parameters, flashes

#: What the stamps of an edge and of a press may be off by together.
_STAMPS_US = 60_000
#: So many of its groups are waited for, whether it comes late or is shown again.
_GROUPS = 3
_FAULTS = frozenset({Mode.LEAK_ACTIVE, Mode.SENSOR_FAULT})
#: What the last fault may be; None: not known, as at the beginning.  Normal: none is stored.
Last = frozenset["Mode | None"]
_UNKNOWN: Last = frozenset({None})
_NONE_STORED: Last = frozenset({Mode.NORMAL})


def judge_recalls(
    seen: Sequence[Shown], light: Light, log: ModeLog, book: Book, end_us: int
) -> list[Finding]:
    """One finding for each recall of a known fault, or of none, that was over by `end_us` (true us).

    `seen`: what the light showed, in order.
    """
    recall = _Recall(seen, light, log, book, end_us)
    judged = (recall.judged(a, log.asked) for a in log.asked if a.action == "recall" and a.must)
    return [finding for finding in judged if finding is not None]


def recalls(parameters: Parameters) -> bool:
    """Whether this board's light can show what its button asks for."""
    button, light = parameters.button, parameters.light
    return button is not None and light is not None and "recall" in button.gestures and bool(spans_of(light))


class Spans(NamedTuple):
    """In us: from normal until the light surely shows it; from the gesture to the recall's begin and to its end."""

    settled_us: int
    begins_us: int
    over_us: int


def spans_of(light: Light) -> Spans | None:
    """None: the maker does not state the light's times or normal's code, or no fault has a code that flashes."""
    if light.codes[Mode.NORMAL] is None:  # whatever it shows may be that
        return None
    codes = {light.codes[fault] for fault in _FAULTS}
    lengths = [Lengths(light).longest_us(c) for c in codes if c is not None and flashes(c)]
    known = [us for us in lengths if us is not None]
    if light.latency is None or light.pause is None or not known or len(known) < len(lengths):
        return None
    begins_us = light.latency.max_us + light.pause.max_us
    longest_us = max(known)
    return Spans(light.latency.max_us + longest_us, begins_us, begins_us + _STAMPS_US + _GROUPS * longest_us)


def last_fault(log: ModeLog, at_us: int) -> Last:
    """Which fault the board may have stored last when it is `at_us`."""
    last = _UNKNOWN
    clears = [a for a in log.asked if a.action == "clear-faults" and a.window.opens_us < at_us]
    entering: dict[
        Mode, bool
    ] = {}  # since it was surely not in this fault: whether it can have been in no other
    for spell in log.spells(at_us):
        while clears and clears[0].window.opens_us < spell.from_us:
            last = _cleared(clears.pop(0), log, last)
        for fault in _FAULTS:
            if fault not in spell.modes:
                entering[fault] = True
            elif spell.modes & _FAULTS != {fault}:
                entering[fault] = False
        last |= spell.modes & _FAULTS
        if Mode.UNPOWERED in spell.modes:  # nothing says that it remembers
            last |= _UNKNOWN
        for fault in _FAULTS:
            if spell.modes == {fault} and entering.get(fault):
                last = frozenset({fault})
    for ask in clears:
        last = _cleared(ask, log, last)
    return last


def _cleared(ask: Ask, log: ModeLog, last: Last) -> Last:
    until_us = ask.window.closes_us
    sure = ask.must and until_us is not None and log.over(ask.window.opens_us, until_us) == {Mode.NORMAL}
    return _NONE_STORED if sure else last | _UNKNOWN


@dataclass(frozen=True, slots=True)
class _Recall:
    seen: Sequence[Shown]
    light: Light
    log: ModeLog
    book: Book
    end_us: int

    def judged(self, ask: Ask, asks: Sequence[Ask]) -> Finding | None:
        """None: it cannot be told what must be shown, or whether."""
        light, known_us = self.light, ask.window.closes_us
        last = last_fault(self.log, ask.window.opens_us)
        spans = spans_of(light)
        if known_us is None or spans is None or len(last) > 1:
            return None
        first_us, by_us = ask.window.opens_us - _STAMPS_US, known_us + spans.begins_us
        over_us = known_us + spans.over_us
        crowded = any(a is not ask and first_us <= a.window.opens_us <= over_us for a in asks)
        modes = self.log.over(first_us - spans.settled_us, over_us)
        if crowded or over_us > self.end_us or modes != {Mode.NORMAL}:
            return None
        (fault,) = last
        code = None if fault is None else light.codes[fault]
        stored = last != _NONE_STORED
        if (
            fault is None
            or code is None
            or (stored and (not flashes(code) or code == light.codes[Mode.NORMAL]))
        ):
            return None
        groups = [
            s for s in self.seen
            if first_us <= s.from_us and s.sure_us <= over_us
            and (s.code is None or flashes(s.code)) and s.code != light.codes[Mode.NORMAL]
        ]  # fmt: skip
        if not stored:
            return self._none_stored(groups, known_us, by_us)
        if not groups:
            text = f"the recall of the last fault showed nothing, where {fault} is {code}"
            return self._finding("fail", by_us, text, "missing")
        return self._shown(groups, fault, code, known_us, by_us)

    def _shown(self, groups: Sequence[Shown], fault: Mode, code: str, known_us: int, by_us: int) -> Finding:
        if len(groups) > 1 and self._torn(groups[0], by_us):
            groups = groups[1:]
        at_us = groups[0].from_us
        wrong = next((g for g in groups if g.code != code), None)
        if wrong is not None and wrong.code is None:
            text = f"what the light showed as the last fault, {fault}, cannot be read"
            return self._finding("inconclusive", wrong.from_us, text, None)
        if wrong is not None:
            text = f"the light recalled {wrong.code}{self._of(wrong.code)}, where the last fault, {fault}, is {code}"
            return self._finding("fail", wrong.from_us, text, "not-allowed")
        took = f"{max(0, at_us - known_us) / 1e6:.1f} s after the board must have known the gesture"
        if at_us > by_us + _STAMPS_US:
            text = (
                f"the last fault, {fault}, was recalled {took}; allowed within {(by_us - known_us) / 1e6:g} s"
            )
            return self._finding("fail", at_us, text, "too-late")
        if len(groups) > 1:
            text = f"the light recalled the last fault, {fault}, {len(groups)} times, where it is once"
            return self._finding("fail", groups[1].from_us, text, "not-allowed")
        self.book.proven.add(("recall", None, fault))
        return self._finding("pass", at_us, f"the light recalled the last fault, {fault}: {code}", None)

    def _torn(self, group: Shown, by_us: int) -> bool:
        """Whether it may be the beginning of normal's own code, which the recall broke off."""
        usual = self.light.codes[Mode.NORMAL]
        if group.code is None or usual is None or group.from_us > by_us:
            return False
        return flashes(group.code) < flashes(usual)

    def _none_stored(self, groups: Sequence[Shown], known_us: int, by_us: int) -> Finding:
        faults = {self.light.codes[fault] for fault in _FAULTS}
        if groups and self._torn(groups[0], by_us):
            groups = groups[1:]
        shown = next((g for g in groups if g.code in faults), None)
        if shown is not None:
            text = (
                f"the light recalled {shown.code}{self._of(shown.code)}, where stored faults had been cleared"
            )
            return self._finding("fail", shown.from_us, text, "not-allowed")
        return self._finding("pass", known_us, "the light recalled no fault: they had been cleared", None)

    def _of(self, code: str | None) -> str:
        modes = [str(m) for m, c in self.light.codes.items() if c == code and code is not None]
        return f" (the code of {' or '.join(modes)})" if modes else ""

    def _finding(self, verdict: str, at_us: int, text: str, kind: str | None) -> Finding:
        return Finding("recall", None, verdict, (at_us - self.book.zero_us) / 1e6, text, kind=kind)
