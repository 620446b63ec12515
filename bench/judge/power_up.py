"""An output that is on while its restart delay from power-up must hold it off, and has not moved.

What moves, the tracker judges; an output that came up on, and that its call wants on, never moves.  So this looks at
each output at the instant by which the board must have let go of it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from bench.judge.book import Book
from bench.judge.events import Change, Event, SupplyMoved
from bench.judge.findings import Finding
from bench.judge.window import Limit, limit_at
from firmware_ref.parameters import MITIGATING, Mode, Output, Parameters, Policy


def judge_power_up(events: Sequence[Event], levels: dict[str, bool], book: Book, rate_ppm: int) -> None:
    """Book every output that was on where it must have been let go.

    `events`: all of the run, settled; `levels`: what the outputs read at its start.
    """
    for output in book.parameters.outputs:
        span_us = _held_off(output, book.parameters)
        if span_us is None:
            continue
        for came, gone in _powered(events, book.parameters):
            first, last = (came.plus(us, rate_ppm) for us in span_us)
            if gone is not None and gone.first_us <= first.last_us:
                continue  # without supply again by then
            moves = sorted(
                (e.stamp.earliest_us, e.on)
                for e in events
                if isinstance(e, Change) and e.output == output.name
            )
            on = next((on for at_us, on in reversed(moves) if at_us <= first.last_us), levels[output.name])
            off_us = next((at_us for at_us, _ in moves if at_us > first.last_us), last.first_us)
            if on and min(off_us, last.first_us) > first.last_us:
                _book(output, came, first, span_us[1], book)


def _held_off(output: Output, parameters: Parameters) -> tuple[int, int] | None:
    """From when to when after the supply came the output must be off, whatever the mode; None: it need not be."""
    restart, timing = output.restart, parameters.timing
    if restart is None or "power-up" not in restart.after or output.modes[Mode.UNPOWERED] is not Policy.OFF:
        return None  # one that is on as its delay begins runs on
    # These override the delay, the self-test perhaps.
    others = {*MITIGATING, Mode.SENSOR_FAULT, *((Mode.SELF_TEST,) if parameters.has_self_test else ())}
    usual = (Mode.START_UP, Mode.NORMAL)
    if any(output.modes[m] is not Policy.OFF for m in others) or any(
        output.modes[m] is Policy.ON for m in usual
    ):
        return None
    return timing.boot.max_us + output.react_off.max_us, restart.delay.min_us


def _powered(events: Sequence[Event], parameters: Parameters) -> Iterator[tuple[Limit, Limit | None]]:
    """When the supply came after it was gone for good, and when it next went."""
    ride = parameters.timing.ride_through
    moves = sorted((e for e in events if isinstance(e, SupplyMoved)), key=lambda e: e.stamp.mid_us)
    for number, move in enumerate(moves):
        before = moves[number - 1].stamp if number else None
        bridged = before is not None and (
            ride is None or move.stamp.earliest_us - before.latest_us <= ride.max_us + ride.max_us // 100
        )
        if move.on and not bridged:
            after = moves[number + 1].stamp if number + 1 < len(moves) else None
            yield limit_at(move.stamp), None if after is None else limit_at(after)


def _book(output: Output, came: Limit, first: Limit, least_us: int, book: Book) -> None:
    """One finding; where the output failed before, it goes with that."""
    at_s = (first.nominal_us - book.zero_us) / 1e6
    for finding in book.findings:
        if finding.verdict == "fail" and finding.output == output.name and finding.at_s <= at_s:
            if finding.requirement != "restart" and "restart" not in finding.also:
                finding.also = (*finding.also, "restart")
            return
    text = (
        f"{output.name} was on {(first.nominal_us - came.nominal_us) / 1e6:.2f} s after the supply came; "
        f"its restart delay holds it off for {least_us / 1e6:.2f} s from there"
    )
    book.findings.append(Finding("restart", output.name, "fail", at_s, text, kind="not-allowed"))
