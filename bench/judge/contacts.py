"""The two alarm contacts against each other: never both closed for longer than the glitch time.

What each must read in a mode is judged as of any output; this is only about
the two together, whatever the mode, with supply or without.  From both edges
with their bounds: a board fails only where the overlap is surely too long.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from bench.judge.book import Book
from bench.judge.budget import measure
from bench.judge.events import Change, Event
from bench.judge.findings import Finding
from bench.judge.window import Stamp, Window, limit_at
from firmware_ref.alarm import PAIR, are_watched


def judge_contacts(events: Sequence[Event], levels: dict[str, bool], book: Book, rate_ppm: int) -> None:
    """Book every change-over, and what was closed together to the end.

    `events`: all of the run, settled; `levels`: what the outputs read at its start.
    """
    if not are_watched(book.parameters):
        return
    changes = [e for e in events if isinstance(e, Change) and e.output in PAIR]
    closed = {name: levels[name] for name in PAIR}
    opened: dict[str, Change] = {}
    both = Stamp(book.zero_us, 0) if all(closed.values()) else None
    for change in sorted(changes, key=lambda c: c.stamp.mid_us):
        other = PAIR[1 - PAIR.index(change.output)]
        closed[change.output] = change.on
        if not change.on:
            opened[change.output] = change
            if both is not None:
                _changed_over(book, change, both, other, rate_ppm)
            both = None
        elif closed[other]:
            both = change.stamp
        elif other in opened:
            _changed_over(book, opened.pop(other), change.stamp, change.output, rate_ppm)
    if both is not None:
        _never_opened(book, both)


def _changed_over(book: Book, opening: Change, closing: Stamp, closed: str, rate_ppm: int) -> None:
    """One contact opened; the other was, or came to be, closed at `closing`."""
    glitch_us = book.parameters.timing.glitch_us
    window = Window(limit_at(closing), limit_at(closing).plus(glitch_us, rate_ppm), closing)
    found = measure(window, opening.stamp, book.decision, book.clock)
    together_ms = found.measured_us / 1e3
    if together_ms >= 0:
        text = f"{opening.output} and {closed} were closed together for {together_ms:.1f} ms"
    else:
        text = f"{opening.output} opened {-together_ms:.1f} ms before {closed} closed"
    finding = Finding(
        requirement="contact",
        output=None,
        verdict=found.verdict,
        kind=found.kind,
        at_s=(max(opening.stamp.mid_us, closing.mid_us) - book.zero_us) / 1e6,
        text=f"{text}; allowed together for {glitch_us / 1e3:g} ms",
        limits=(None, glitch_us / 1e6),
        margin=None if found.margin_us is None else found.margin_us / 1e6,
        **found.figures(),
    )
    book.findings.append(finding)
    if found.verdict == "pass":
        book.proven.add(("contact", None, None))


def _never_opened(book: Book, both: Stamp) -> None:
    """Closed together to the end: the fault of the contact that a finding names already, else one of its own."""
    for finding in _failed(book):
        if "contact" not in finding.also:
            finding.also = (*finding.also, "contact")
        return
    at_s = (both.mid_us - book.zero_us) / 1e6
    text = f"{' and '.join(PAIR)} are both closed from {at_s:.1f} s on"
    book.findings.append(Finding("contact", None, "fail", at_s, text, kind="not-allowed"))


def _failed(book: Book) -> Iterator[Finding]:
    return (f for f in book.findings if f.verdict == "fail" and f.output in PAIR)
