"""Voltage at a call's terminal while the fixture's relay there is open: the board feeds back.

Judged only where the profile says `backfeed: false`.  It is shown to be kept
where every call's relay was open while another output of 24 VAC was on, which
is when a contact between two terminals would be found out.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from bench.judge.book import Book
from bench.judge.budget import measure
from bench.judge.feed import Feed, output_channel
from bench.judge.findings import Finding
from bench.judge.window import Stamp, Window, limit_at
from bench.trace.records import Edge, Readback, Record
from firmware_ref.parameters import Parameters

#: What is left at a terminal when its relay opens may take so long to go, and to be known as gone.  Ours: many half
#: cycles, and far less than any contact stays closed.
GOES_WITHIN_US = 100_000
#: Nothing there for this long, with an output on, shows that nothing comes out: twice as long as it may take to go.
_SHOWS_US = 200_000


@dataclass(slots=True)
class _Terminal:
    """One call's terminal.  `fed_back`: since when it has voltage with its relay open; `still`: since when none."""

    call: str
    open: bool = True
    live: bool = False
    read: bool = False
    fed_back: Stamp | None = None
    still_us: int | None = None
    shown: bool = False
    failed: Finding | None = None


def is_judged(parameters: Parameters) -> bool:
    """Whether this board may be failed for feeding back."""
    return parameters.rules.backfeed is False and bool(parameters.calls)


def judge_backfeed(records: Iterable[Record], feed: Feed, book: Book, end_us: int) -> None:
    """Book every call that was fed back, or that none was; records of the whole run, `end_us` its end in true time."""
    if not is_judged(book.parameters):
        return
    terminals = {f"call.{call}": _Terminal(call) for call in book.parameters.calls}
    on = {output_channel(o.name): False for o in book.parameters.outputs if o.kind == "ac"}
    for record in records:
        if isinstance(record, Edge) and record.ch in on:
            on[record.ch] = record.value == "on"
        elif isinstance(record, Readback) and record.ch in terminals:
            _move(terminals[record.ch], record, feed.stamp(record.earliest_us, record.latest_us), book)
        else:
            continue
        now_us = feed.stamp(record.earliest_us, record.latest_us).mid_us
        for terminal in terminals.values():
            _wait(terminal, any(on.values()), now_us)
    for terminal in terminals.values():
        _wait(terminal, False, end_us)
        if terminal.fed_back is not None:
            _over(terminal, terminal.fed_back, Stamp(end_us, 0), book)
    found_any = any(f.requirement == "backfeed" for f in book.findings)
    if not found_any and all(t.shown for t in terminals.values()):
        names = ", ".join(book.parameters.calls)
        text = f"no voltage came out at the terminals of {names} while their relays were open and outputs were on"
        book.findings.append(Finding("backfeed", None, "pass", (end_us - book.zero_us) / 1e6, text))
        book.proven.add(("backfeed", None, None))


def _move(terminal: _Terminal, readback: Readback, stamp: Stamp, book: Book) -> None:
    """The relay, or the voltage behind it, is elsewhere."""
    if readback.what == "voltage":
        terminal.live, terminal.read = readback.value == "on", True
    else:
        terminal.open = readback.value == "off"
    if terminal.open and terminal.live:
        terminal.fed_back = terminal.fed_back or stamp
    elif terminal.fed_back is not None:
        _over(terminal, terminal.fed_back, stamp, book)
        terminal.fed_back = None


def _wait(terminal: _Terminal, outputs_on: bool, now_us: int) -> None:
    """Whether nothing has been there for long enough while something could have been."""
    still = terminal.open and not terminal.live and outputs_on
    if terminal.still_us is not None and terminal.read and now_us - terminal.still_us >= _SHOWS_US:
        terminal.shown = True
    if not still:
        terminal.still_us = None
    elif terminal.still_us is None:
        terminal.still_us = now_us


def _over(terminal: _Terminal, begin: Stamp, end: Stamp, book: Book) -> None:
    """A terminal had voltage from `begin` to `end` though its relay was open: booked where that is too long."""
    first = limit_at(begin)
    most_us = max(GOES_WITHIN_US, book.parameters.timing.glitch_us)
    window = Window(first, first.plus(most_us, book.clock.rate_ppm), begin)
    found = measure(window, end, book.decision, book.clock)
    if found.verdict == "pass":
        return
    if found.verdict == "fail" and terminal.failed is not None:
        terminal.failed.count += 1
        return
    at_s = (begin.mid_us - book.zero_us) / 1e6
    text = (
        f"voltage came out at the terminal of call {terminal.call} for {found.measured_us / 1e6:.2f} s, from "
        f"{at_s:.1f} s on, with its relay open; allowed for {most_us / 1e6:.2f} s"
    )
    finding = Finding(
        requirement="backfeed",
        output=None,
        verdict=found.verdict,
        kind="not-allowed" if found.verdict == "fail" else None,
        at_s=at_s,
        text=text,
        limits=(None, most_us / 1e6),
        margin=None if found.margin_us is None else found.margin_us / 1e6,
        **found.figures(),
    )
    book.findings.append(finding)
    if finding.verdict == "fail":
        terminal.failed = finding
