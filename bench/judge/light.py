"""The light judged: what it showed must fit a mode that was possible while it was shown.

It never strikes out what the board may be doing; a wrong light fails the
light alone.  Where the change of mode is hidden, where a group was cut off by
it or finished after it, nothing is judged.  `latency` counts from the change
until the new code begins; a light that was steady or dark shows the new code
only once that has lasted longer than a flash or a pause could.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from bench.judge.book import Book
from bench.judge.clock import ClockFit
from bench.judge.findings import Finding
from bench.judge.flashes import FlashDecoder, Lengths, Shown
from bench.judge.mode_log import ModeLog, Modes, Spell
from bench.judge.recall import judge_recalls
from bench.trace.records import Edge, Trace
from firmware_ref.parameters import DARK, Light, Mode, flashes

#: What the stamps of an edge and of a change of mode may be off by together.
STAMPS_US = 60_000
#: Where a change may be hidden, so many may follow each other.
HIDDEN_CHANGES = 3
#: So many groups in a row must be wrong where one code alone is right, and where changes may be hidden: each may
#: spoil one, where the old code breaks off and the new one begins without a pause.
WRONG_GROUPS, WRONG_GROUPS_HIDDEN = 2, HIDDEN_CHANGES + 1
#: A light that shows nothing that can be read for so many of the longest groups is wrong.
UNREADABLE_GROUPS = 4
#: How long a group, and the latency, are taken to be where they are not stated; ours.
LONGEST_GROUP_US, LONGEST_LATENCY_US = 6_000_000, 5_000_000
#: Where no latency is stated the light may show any mode that was before.
_EVER_US = 1 << 60


def shown(trace: Trace, light: Light, clock: ClockFit) -> list[Shown]:
    """What the light of a trace showed, in order, in true us; empty if the trace does not watch it.

    Each group of flashes is one entry (`from_us`, `to_us`, `code`, `sure_us`),
    each steady or dark time another.  `clock`: `bench.judge.judge.clock_of(trace)`.
    """
    snapshot = trace.snapshot
    if snapshot is None or "light" not in snapshot.values:
        return []
    decoder = FlashDecoder(light, snapshot.values["light"] == "on", clock.true_us(snapshot.tick_us))
    found: list[Shown] = []
    edges = [record for record in trace.records if isinstance(record, Edge)]
    for edge in edges:
        if edge.ch == "light":
            middle_us = (edge.earliest_us + edge.latest_us) // 2
            found += decoder.edge(edge.value == "on", clock.true_us(middle_us))
    if trace.end is not None:
        end_us = trace.end.tick_us
    else:
        end_us = max([snapshot.tick_us, *(edge.latest_us for edge in edges)])
    return found + decoder.end(clock.true_us(end_us))


def judge_light(trace: Trace, light: Light, log: ModeLog, book: Book, end_us: int) -> None:
    """Book what the light of a whole trace showed; `end_us`: the end of the run in true us."""
    if trace.snapshot is None or "light" not in trace.snapshot.values:
        return
    judged, seen = _Judged(light, log, book, end_us), shown(trace, light, book.clock)
    recalled = judge_recalls(seen, light, log, book, end_us)
    for first_us, last_us in log.recalls:
        log.free(first_us, last_us + judged.recall_us)
    judged.all(seen)
    _under_the_first(judged.findings, book)
    book.findings += judged.findings
    _under_the_first(recalled, book)
    book.findings += recalled


def _under_the_first(findings: list[Finding], book: Book) -> None:
    """A light that tells the mode of a board that did wrong tells the same fault: it goes with that finding.

    So does a recall at a light that is wrong itself.
    """
    failed = sorted((f for f in book.findings if f.verdict == "fail"), key=lambda f: f.at_s)
    if not failed:
        return
    for finding in [
        f for f in findings if f.verdict == "fail" and (f.requirement, f.kind) != ("light", "missing")
    ]:
        before = [f for f in failed if f.at_s <= finding.at_s]
        if not before and finding.requirement == "recall":
            continue  # it is asked for in normal, where nothing was wrong yet
        cause = before[-1] if before else failed[0]
        if finding.requirement not in cause.also:
            cause.also = (*cause.also, finding.requirement)
        findings.remove(finding)


class _Late(NamedTuple):
    """`old` was shown until `until_us`, then `new`; the change lies between `first_us` and `last_us`.

    `new` None: the right code was not shown before the next change.
    """

    old: str
    new: str | None
    until_us: int
    first_us: int
    last_us: int


@dataclass(slots=True)
class _Judged:
    light: Light
    log: ModeLog
    book: Book
    end_us: int
    findings: list[Finding] = field(default_factory=list)
    _seen: Sequence[Shown] = ()
    _alike: list[Spell] = field(default_factory=list)  # in each the codes of the possible modes stay the same
    # Where it kept the code of the mode before.
    _kept: list[tuple[Finding, _Late]] = field(default_factory=list)
    _wrong: list[Shown] = field(default_factory=list)  # groups in a row that fit nothing
    _last: Shown | None = None  # the group before
    _running: Finding | None = None  # goes on while the same is right, or nothing is

    @property
    def latency_us(self) -> int:
        return _EVER_US if self.light.latency is None else self.light.latency.max_us + STAMPS_US

    @property
    def recall_us(self) -> int:
        """How long a recall of the last fault takes at most; how often it is shown is not said."""
        shown = [c for c in self.light.codes.values() if c is not None]
        longest_us = max(Lengths(self.light).longest_us(c) or LONGEST_GROUP_US for c in shown)
        latency_us = LONGEST_LATENCY_US if self.light.latency is None else self.latency_us
        return latency_us + UNREADABLE_GROUPS * longest_us

    def all(self, seen: Sequence[Shown]) -> None:
        self._seen, self._alike = seen, list(self._pieces())
        for one in seen:
            if one.code is not None and flashes(one.code):
                self._group(one)
            elif one.code is not None:
                self._lasting(one)
        self._unreadable(seen)
        self._name_the_late()

    def codes(self, modes: Modes) -> set[str | None]:
        """What these modes show; None: anything."""
        return {None if mode is None else self.light.codes[mode] for mode in modes}

    # --- groups -----------------------------------------------------------------

    def _group(self, one: Shown) -> None:
        before, self._last = self._last, one
        modes = self.log.over(self._counts_from(one.from_us), one.sure_us + STAMPS_US)
        codes = self.codes(modes)
        if one.code in codes or None in codes:
            self._wrong = []
            if one.code in codes:
                self._right(one, one.from_us, one.sure_us)
            return
        if Mode.UNPOWERED in self.log.over(
            one.from_us, one.sure_us + STAMPS_US
        ):  # the cut may have broken it off
            self._last = None
            return
        hidden = len(codes) > 1
        kept = before if not self._wrong and before is not None and before.code == one.code else None
        if kept is not None and not hidden:  # it was right then
            self._wrong.append(kept)
        self._wrong.append(one)
        alike = self._wrong[-WRONG_GROUPS_HIDDEN:]
        enough = WRONG_GROUPS_HIDDEN if hidden else WRONG_GROUPS
        if len(self._wrong) < enough or (hidden and len({w.code for w in alike}) > 1):
            return
        first = next(w for w in self._wrong[-enough:] if w is not kept)
        self._fail(first.from_us, f"the light showed {first.code}", first.code, modes, enough)

    def _counts_from(self, at_us: int) -> int:
        """From when on the modes may be what is shown at `at_us`: a change within the latency of another begins it anew."""
        place = self._place(at_us)
        from_us = at_us - self._changing_us(place)
        while place > 0 and self._alike[place].from_us > from_us:
            from_us = min(from_us, self._alike[place].from_us - self._changing_us(place - 1))
            place -= 1
        return from_us

    def _changing_us(self, place: int) -> int:
        """How long a code may be kept through the changes, known and hidden, of a spell."""
        hidden = len(self.codes(self._alike[place].modes)) > 1
        return self.latency_us * (HIDDEN_CHANGES if hidden else 1)

    def _right(self, one: Shown, from_us: int, to_us: int) -> None:
        modes = self.log.over(from_us, to_us)
        fitting = [m for m in Mode if m in modes and self.light.codes[m] == one.code]
        if not fitting:  # the mode before, within the latency
            return
        verb = "was" if not flashes(one.code or "") else "showed"
        text = f"the light {verb} {one.code} in {' or '.join(map(str, fitting))}"
        running = self._running
        if running is not None and running.text == text:
            running.count += 1
        else:
            self._running = Finding("light", None, "pass", self._at(from_us), text)
            self.findings.append(self._running)
        if modes == {fitting[0]}:
            self.book.proven.add(("light", None, fitting[0]))

    # --- steady and dark ----------------------------------------------------------

    def _lasting(self, one: Shown) -> None:
        slack_us = one.sure_us - one.from_us
        proven: set[Mode | None] = set()
        for spell in self._alike:
            codes = self.codes(spell.modes)
            if one.code in codes or None in codes:
                continue
            # Each hidden change may begin a code anew.
            times = WRONG_GROUPS if len(codes) == 1 else WRONG_GROUPS_HIDDEN
            changes = 1 if len(codes) == 1 else HIDDEN_CHANGES
            wrong_us = max(
                spell.from_us + changes * (self.latency_us + slack_us), one.from_us + times * slack_us
            )
            if wrong_us < min(spell.to_us, one.to_us):
                self._fail(wrong_us, f"the light was {one.code}", one.code, spell.modes, 1)
        for spell in self.log.spells(self.end_us):
            from_us, to_us = max(spell.from_us, one.sure_us), min(spell.to_us, one.to_us)
            if from_us < to_us and one.code in self.codes(spell.modes) and not spell.modes & proven:
                proven |= spell.modes
                self._wrong = []
                self._right(one, from_us, to_us - 1)

    def _pieces(self) -> Iterator[Spell]:
        """The run in pieces during which the codes of the possible modes stay the same."""
        begun: Spell | None = None
        for spell in self.log.spells(self.end_us):
            if begun is not None and self.codes(begun.modes) == self.codes(spell.modes):
                begun = Spell(begun.from_us, spell.to_us, begun.modes | spell.modes)
                continue
            if begun is not None:
                yield begun
            begun = spell
        if begun is not None:
            yield begun

    # --- what cannot be read --------------------------------------------------------

    def _unreadable(self, seen: Sequence[Shown]) -> None:
        """A time in which one code alone was right, and nothing that could be read was shown."""
        read = [s for s in seen if s.code is not None]
        for spell in self._alike:
            code, *others = self.codes(spell.modes)
            longest_us = None if code is None or others else Lengths(self.light).longest_us(code)
            if longest_us is None or self.light.latency is None:
                continue
            most_us = self.latency_us + UNREADABLE_GROUPS * longest_us
            last_us = spell.from_us
            for one in [*(s for s in read if s.to_us > spell.from_us), None]:
                next_us = spell.to_us if one is None else min(one.from_us, spell.to_us)
                if next_us - last_us > most_us:
                    text = f"the light showed nothing that can be read for {(next_us - last_us) / 1e6:.1f} s"
                    self._fail(last_us + most_us, text, None, spell.modes, 1)
                if one is None or one.from_us >= spell.to_us:
                    break
                last_us = max(last_us, one.to_us)

    # --- words ------------------------------------------------------------------------

    def _at(self, at_us: int) -> float:
        return (at_us - self.book.zero_us) / 1e6

    def _fail(self, at_us: int, text: str, code: str | None, modes: Modes, count: int) -> None:
        by_code: dict[str | None, list[str]] = {}
        for m in (m for m in Mode if m in modes):
            by_code.setdefault(self.light.codes[m], []).append(str(m))
        must = " or ".join(f"{' or '.join(names)} is {shows}" for shows, names in by_code.items())
        others = [str(m) for m, c in self.light.codes.items() if c == code and m not in modes]
        of = f" (the code of {' or '.join(others)})" if code is not None and others else ""
        kind = "missing" if code is None else "not-allowed"
        if self._running is not None and self._running.kind == kind:  # until it is right again
            self._running.count += 1
            return
        self._running = Finding(
            "light", None, "fail", self._at(at_us), f"{text}{of}, where {must}", kind=kind, count=count
        )
        self.findings.append(self._running)
        if code is not None and (late := self._late(at_us, code)) is not None:
            self._kept.append((self._running, late))

    # --- the right code, but too late ---------------------------------------------------

    def _late(self, at_us: int, code: str) -> _Late | None:
        """What was wrong at `at_us`, if it had been right in a mode before and was kept since."""
        here = last = self._place(at_us)
        while last >= 0 and code not in self.codes(self._alike[last].modes):
            last -= 1
        if last < 0 or self.light.latency is None:
            return None
        gone_us, first = self._alike[last].to_us, last
        # Dark for less may be the pauses of two codes, back to back.
        pauses_us = 2 * Lengths(self.light).dark_us
        read = [
            s for s in self._seen
            if s.to_us > gone_us
            and not (s.code is None or (s.code == DARK != code and s.to_us - s.from_us < pauses_us))
        ]  # fmt: skip
        if any(s.code != code and s.from_us < at_us for s in read):
            return None
        while first and self.codes(self._alike[first].modes) > {code}:  # there the change is hidden
            first -= 1
        first_us = min(self._alike[first].to_us, gone_us)
        new = next((s for s in read if s.code != code), None)
        kept = [s.to_us for s in read if s.code == code and (new is None or s.to_us <= new.from_us)]
        if new is not None and self._comes_late(new, last + 1):
            return _Late(code, new.code, max(kept, default=new.from_us), first_us, gone_us)
        return _Late(code, None, min(max(kept, default=at_us), self._alike[here].to_us), first_us, gone_us)

    def _comes_late(self, new: Shown, changed: int) -> bool:
        """Whether it is the code of the mode that began with the spell `changed`, or of another and late there."""
        place = self._place(new.from_us)
        codes = self.codes(self._alike[place].modes)
        if place == changed:
            return new.code in codes
        return codes == {new.code} and new.from_us > self._alike[place].from_us + self.latency_us

    def _place(self, at_us: int) -> int:
        return bisect_right(self._alike, at_us, key=lambda spell: spell.from_us) - 1

    def _name_the_late(self) -> None:
        """A light that was seen to come late was so too where the next change of mode came first.

        Otherwise one that kept the code of the mode before all through is not late, but wrong.
        """
        if all(late.new is None for _, late in self._kept):
            return
        assert self.light.latency is not None
        allowed_s = self.light.latency.max_us / 1e6
        for finding, late in self._kept:
            finding.kind = "too-late"
            measured_s = (late.until_us - (late.first_us + late.last_us) / 2) / 1e6
            then = "until the next one" if late.new is None else f"before it showed {late.new}"
            finding.text = (
                f"the light was late: it kept showing {late.old} for {measured_s:.1f} s after a change of mode, "
                f"{then}; allowed within {allowed_s:g} s"
            )
            finding.measured, finding.limits = measured_s, (None, allowed_s)
            finding.bound = ((late.last_us - late.first_us) / 2 + STAMPS_US) / 1e6
            finding.margin = allowed_s - measured_s
