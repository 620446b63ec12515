"""What a run shows where there is no terminal: a few plain lines as it goes on.

An observer of a run (`bench.run.observer`).  It feeds the live judge itself
and says what part has begun, what mode the board should be in, and what
failed.
"""

from __future__ import annotations

import textwrap
from collections.abc import Callable
from typing import TextIO

from bench.report import wording
from bench.report.cautions import CAUTIONS, SIMULATED
from bench.report.judging import Judging, feed
from bench.report.terminal import WIDTH, printable
from bench.report.watched import Watched
from bench.trace.records import Header, Note, Record
from firmware_ref.parameters import Mode, Parameters


def opening(header: Header, width: int = WIDTH) -> list[str]:
    """What is said before anything is energised: what is tested, and the cautions, wrapped to `width`."""
    unit = wording.clean(header.unit_under_test or "")
    lines = [
        f"mitbench: {wording.name_of(header.profile)}, {wording.name_of(header.procedure)}"
        + (f", unit {unit}" if unit else "")
    ]
    whole_s = header.dry_run.get("board_seconds")
    if isinstance(whole_s, (int, float)):
        lines.append(f"about {wording.duration_words(whole_s)} of board time")
    if header.simulated:
        lines.append(SIMULATED)
    for caution in CAUTIONS:
        lines += textwrap.wrap(f"- {caution}", width, subsequent_indent="  ")
    return lines


class Plain:
    """Plain lines to `out`.  `answered`: whether the person has answered the last prompt."""

    def __init__(
        self,
        out: TextIO,
        header: Header,
        parameters: Parameters,
        judge: Judging,
        answered: Callable[[], bool] = lambda: False,
    ) -> None:
        self._out = out
        self._header = header
        self._judge = judge
        self._watched = Watched(parameters)
        self._answered = answered
        self._modes: tuple[Mode, ...] = ()
        self._told = 0

    def __enter__(self) -> Plain:
        for line in opening(self._header):
            self._write(line)
        return self

    def __exit__(self, *exc: object) -> None:
        self._out.flush()

    def step(self, index: int, total: int, text: str) -> None:
        """Nothing: single steps are too many for a log; their parts are notes in the trace."""

    def record(self, record: Record) -> None:
        self._watched.take(record)
        feed(self._judge, record)
        self._judged()
        if isinstance(record, Note):
            self._say(wording.clean(record.text))
        if self._watched.end is not None:
            text = f": {wording.sentence(self._watched.end.text)}" if self._watched.end.text else ""
            self._say(f"end of the run, {self._watched.end.reason}{text}")

    def note(self, text: str) -> None:
        self._say(wording.clean(text))

    def ask(self, text: str) -> None:
        self._say(f"DO NOW: {wording.sentence(text)} Press Enter when it is done.")

    def answered(self) -> bool:
        return self._answered()

    def _judged(self) -> None:
        modes = self._judge.modes
        if modes != self._modes and len(modes) == 1:  # while it may be either, nothing is said
            self._modes = modes
            self._say(f"expected: {wording.modes_words(modes)}")
        findings = self._judge.findings
        for finding in findings[self._told :]:
            if finding.verdict == "fail":
                self._say(f"FAIL (provisional) {finding.requirement}: {wording.sentence(finding.text)}")
        self._told = len(findings)

    def _say(self, text: str) -> None:
        self._write(f"{wording.clock_words(self._watched.elapsed_s):>7}  {text}")

    def _write(self, line: str) -> None:
        self._out.write(printable(line, self._out) + "\n")
        self._out.flush()
