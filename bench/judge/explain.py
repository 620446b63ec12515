"""What was possible at one moment of a run, and why what came next was allowed or not."""

from __future__ import annotations

from collections.abc import Iterator

from bench.errors import TraceError, UsageError
from bench.judge.events import Change, instant_us
from bench.judge.judge import Case, open_case
from bench.judge.orders import in_force
from bench.judge.possibility import Expect, Possibility
from bench.judge.window import Stamp, Window
from bench.trace.records import Trace
from firmware_ref.parameters import Output, Parameters

#: Changes this long after the moment are explained too.
NEXT_US = 1_000_000

_WAITS = {
    "booted": "the end of boot",
    "warmed_up": "the end of warm-up",
    "tripped": "the trip",
    "cleared": "the clear",
    "hold_over": "the end of the hold",
    "lost": "the sensor loss to be noticed",
    "returned": "the sensor's return to be noticed",
    "supply_lost": "the supply to be gone for good",
    "self_test_asked": "the self-test that the button asks for",
    "self_test_over": "the end of the self-test",
    "reset_asked": "the reset that the button asks for",
}


def explain(trace: Trace, parameters: Parameters, at_s: float, decision: str | None = None) -> list[str]:
    """Lines for a person about the moment `at_s` (seconds since the snapshot).

    Raises UsageError if the run had not begun or was over, TraceError if the
    trace has no snapshot.
    """
    if trace.snapshot is None:
        raise TraceError("the trace has no snapshot; there is nothing to explain")
    case = open_case(trace, parameters, decision or parameters.decision)
    at_us = case.zero_us + round(at_s * 1e6)
    if not case.zero_us <= at_us <= case.end_us:
        length_s = (case.end_us - case.zero_us) / 1e6
        raise UsageError(
            f"--explain {at_s:g}: the run lasted {length_s:.3f} s; name a moment between 0 and that"
        )
    case.tracker.run(at_us)
    return [*_moment(case, at_s), *_what_came_next(case, at_us)]


def _moment(case: Case, at_s: float) -> Iterator[str]:
    tracker = case.tracker
    yield f"At {at_s:.3f} s the board may be in:"
    for live in tracker.lives:
        p = live.p
        entered = p.entered.not_after(Stamp(case.zero_us + round(at_s * 1e6), 0))
        yield f"  {_state(p)}, since {_span(entered, case.zero_us)}"
        for due in tracker.dues_of(live):
            yield f"    waits for {_WAITS[due.event]}: {_span(due.window, case.zero_us)}"
        for output, expect in zip(tracker.world.parameters.outputs, p.expects, strict=True):
            yield f"    {_expectation(output, expect, tracker.levels[output.name], case.zero_us)}"
    for name, finding in tracker.book.wrong.items():
        yield f"  {name} is wrong since {finding.at_s:.3f} s ({finding.requirement}) and judged again once it moves rightly"


def _state(p: Possibility) -> str:
    notes = []
    if p.state.endswith("_lost"):
        notes.append("sensor loss noticed")
    if p.latched:
        notes.append("fault latched")
    return f"{p.mode} ({', '.join(notes)})" if notes else str(p.mode)


def _expectation(output: Output, expect: Expect, level: bool, zero_us: int) -> str:
    seen = output.reading(level)
    if expect.free:
        return f"{output.name} is {seen}; not judged without supply or in boot"
    wanted = output.reading(expect.want)
    go = {"open": "open", "closed": "close"}.get(wanted, f"go {wanted}")
    if level == expect.want:
        return f"{output.name} is {seen}, as it must be"
    when = "now" if expect.due is None else _span(expect.due, zero_us)
    return f"{output.name} is {seen} and must {go} {when} ({expect.requirement})"


def _span(window: Window, zero_us: int) -> str:
    low = (window.low.nominal_us - zero_us) / 1e6
    if window.high is None:
        return f"from {low:.3f} s on, at any time"
    high = (window.high.nominal_us - zero_us) / 1e6
    return f"at {low:.3f} s" if high == low else f"between {low:.3f} and {high:.3f} s"


def _what_came_next(case: Case, at_us: int) -> Iterator[str]:
    tracker = case.tracker
    coming = [
        e
        for e in tracker.queue[tracker.place :]
        if isinstance(e, Change) and e.stamp.mid_us <= at_us + NEXT_US
    ]
    if not coming:
        yield "No output changed in the second after it."
    for change in coming:
        tracker.run(instant_us(change) - 1)
        at_s = (change.stamp.mid_us - case.zero_us) / 1e6
        reading = tracker.world.parameters.output(change.output).reading(change.on)
        went = {"open": "opened", "closed": "closed"}.get(reading, f"went {reading}")
        yield f"At {at_s:.3f} s {change.output} {went}:"
        yield from _why(case, change)
        tracker.run(instant_us(change))


def _why(case: Case, change: Change) -> Iterator[str]:
    tracker = case.tracker
    outputs = tracker.world.parameters.outputs
    place = tracker.world.parameters.place_of(change.output)
    for p in tracker.possibilities:
        expect = p.expects[place]
        way = expect.admits(change.on, change.stamp)
        if way == "free":
            answer = "allowed, not judged without supply"
        elif way == "due" and expect.due is not None:
            answer = f"allowed as {expect.requirement}, {_span(expect.due, case.zero_us)}"
        elif way == "claim":
            answer = "allowed, an earlier order may still show"
        elif change.on == expect.want and expect.due is not None:
            answer = f"not allowed, outside {_span(expect.due, case.zero_us)} ({expect.requirement})"
        else:
            answer = f"not allowed ({in_force(outputs[place], p, tracker.lost)})"
        yield f"  in {_state(p)}: {answer}"
