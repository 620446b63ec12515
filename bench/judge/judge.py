"""The verdict: one pass over a closed trace, a pure function of trace and profile."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from bench.errors import TraceError
from bench.judge import clock as clocks
from bench.judge import failures
from bench.judge import levels as level_test
from bench.judge.backfeed import is_judged as is_backfeed_judged
from bench.judge.backfeed import judge_backfeed
from bench.judge.book import Book
from bench.judge.contacts import judge_contacts
from bench.judge.events import Event
from bench.judge.feed import Feed, output_channel
from bench.judge.findings import Finding, Judgement
from bench.judge.light import judge_light
from bench.judge.modes import remembering
from bench.judge.power_up import judge_power_up
from bench.judge.recall import recalls
from bench.judge.tracker import Tracker
from bench.judge.window import Stamp
from bench.trace.calibration import from_json as calibration_of
from bench.trace.records import Clock, Count, Edge, Header, Readback, Snapshot, Trace, Voltage
from firmware_ref.alarm import PAIR, are_watched
from firmware_ref.parameters import MITIGATING, Mode, Parameters, Policy

#: How much later than another event the fixture may tell of one: an AC edge is known a half cycle late.
ON_ITS_WAY_US = 30_000

LOOPBACK_HINT = "; or the fixture's own input: check with the loop-back plug"
CHECK_HINT = "; or the fixture's own input there: run `mitbench fixture check`"

REMEMBERS = (
    "the board came up as one that still remembers a leak, a hold or a latched fault from before this run: "
    "leave it powered with a clear sensor until its hold is over, reset a latched fault, then test again"
)

_ORDER = {"fail": 0, "inconclusive": 1, "pass": 2}
_BOTH_MODES = frozenset(MITIGATING)


def clock_of(trace: Trace) -> clocks.ClockFit:
    """The rate of a trace's clock, fitted over the whole run."""
    if trace.header.clock == "exact":
        return clocks.EXACT
    return clocks.fit([r for r in trace.records if isinstance(r, Clock)], host_of(trace.header))


def host_of(header: Header) -> clocks.HostRate | None:
    """The rate of the computer's clock as the fixture's calibration record gives it; None where it does not."""
    computer = calibration_of(header.calibration).computer if header.calibration else None
    return None if computer is None else clocks.HostRate(computer.ppm, computer.within_ppm)


def unsure_inputs(header: Header, outputs: Iterable[str]) -> set[str]:
    """Those outputs whose input at the fixture no loop-back plug has shown to be sound."""
    sound = calibration_of(header.calibration).inputs if header.calibration else ()
    return {name for name in outputs if header.wiring.get(output_channel(name)) not in sound}


def judge_trace(
    trace: Trace, parameters: Parameters, decision: str | None = None, *, live: bool = False
) -> Judgement:
    """Judge a trace against a profile's parameters.

    `decision`: `guarded` or `simple`, None takes the profile's.  `live`: the
    run has just ended here, so that a stopped one is `stopped`; a stored trace
    of a stopped or killed run is failed if anything failed, else inconclusive.
    Raises TraceError if the trace does not begin with a snapshot of the safe
    state.
    """
    decision = decision or parameters.decision
    if trace.snapshot is None:
        return _nothing(trace, decision, live)
    judgement = _judged(open_case(trace, parameters, decision), trace, parameters, decision, live)
    if judgement.verdict != "fail":
        return judgement
    # Nobody knows what the board was doing when it last lost its supply.
    remembered = open_case(trace, parameters, decision)
    ways = [w for p in remembered.tracker.possibilities for w in remembering(p, remembered.tracker.world)]
    if not ways:
        return judgement
    remembered.tracker.keep(ways)
    other = _judged(remembered, trace, parameters, decision, live)
    if any(f.verdict == "fail" for f in other.findings):
        return judgement
    return replace(other, verdict="inconclusive", reason=REMEMBERS)


def _judged(case: Case, trace: Trace, parameters: Parameters, decision: str, live: bool) -> Judgement:
    found = _levels(case, trace, parameters)
    case.follow()
    seconds = (case.end_us - case.zero_us) / 1e6
    judgement = _conclude(trace, parameters, case.tracker.book, case.feed, decision, live, seconds)
    return replace(judgement, levels=tuple(found))


def _levels(case: Case, trace: Trace, parameters: Parameters) -> list[level_test.Level]:
    """What the staircases of the procedure show; the tracker is left where the last one begins."""
    begins_uv = level_test.stairs_of(trace.header.procedure, parameters)
    if not begins_uv:
        return []
    tracker = case.tracker
    seen = level_test.Seen(dict(tracker.levels), tuple(tracker.queue))

    def modes_at(at_us: int) -> frozenset[Mode]:
        tracker.run(at_us)
        return frozenset(p.mode for p in tracker.possibilities)

    stairs = level_test.staircases(seen.events, parameters, begins_uv, case.end_us)
    return level_test.evaluate(stairs, modes_at, seen, parameters, tracker.book, case.feed.clock)


@dataclass(frozen=True, slots=True)
class Case:
    """A trace ready to be followed: all its events are in the tracker, none is processed.

    `zero_us` and `end_us` are the snapshot and the end in true time; `events`
    are all of `trace`, `levels` what the outputs read in the snapshot.
    """

    tracker: Tracker
    feed: Feed
    zero_us: int
    end_us: int
    events: tuple[Event, ...]
    levels: dict[str, bool]
    trace: Trace

    def follow(self) -> None:
        """To the end of the trace."""
        self.tracker.run(self.end_us)
        judge_contacts(self.events, self.levels, self.tracker.book, self.feed.clock.rate_ppm)
        judge_power_up(self.events, self.levels, self.tracker.book, self.feed.clock.rate_ppm)
        judge_backfeed(self.trace.records, self.feed, self.tracker.book, self.end_us)
        light, log = self.tracker.world.parameters.light, self.tracker.log
        if light is not None and log is not None:
            judge_light(self.trace, light, log, self.tracker.book, self.end_us)


def open_case(trace: Trace, parameters: Parameters, decision: str) -> Case:
    """Everything of a trace made ready for the tracker.

    Raises TraceError if the snapshot is not of the safe state; the trace must
    have a snapshot.
    """
    snapshot = trace.snapshot
    assert snapshot is not None
    check_safe_state(snapshot, parameters)
    check_fits(trace, parameters)
    fit = clock_of(trace)
    zero = Stamp(fit.true_us(snapshot.tick_us), 0)
    book = Book(parameters, zero.mid_us, decision, clock=fit)
    feed = Feed(parameters, fit, book)
    levels = feed.start(snapshot)
    tracker = Tracker.start(parameters, fit.rate_ppm, zero, levels, book, failures.resolve)
    events = [event for record in trace.records for event in feed.record(record)]
    end_us = fit.true_us(_last_tick(trace))
    events += feed.settle(end_us + parameters.timing.glitch_us + 1)
    tracker.push(events)
    return Case(tracker, feed, zero.mid_us, end_us, tuple(events), levels, trace)


def check_safe_state(snapshot: Snapshot, parameters: Parameters) -> None:
    """A trace begins with everything open and unpowered, and says so of every channel; else raises TraceError."""
    needed = ["main", "sense.board", *(f"call.{c}" for c in parameters.calls)]
    needed += [f"sensor.{t}" for s in parameters.sensors for t in s.terminals]
    needed += [output_channel(o.name) for o in parameters.outputs]
    for channel in needed:
        if channel not in snapshot.values:
            raise TraceError(
                f"the snapshot says nothing of {channel}, which {parameters.name} has; "
                "judge the trace by a profile of the board it was taken from"
            )
    for channel, value in snapshot.values.items():
        kind = channel.partition(".")[0]
        safe = {
            "call": ("off",),
            "main": ("open",),
            "board": ("open",),
            "button": ("open",),
            "sensor": ("open",),
        }.get(kind)
        if channel == "sense.board":
            safe = ("off",)
        if safe is not None and value not in safe:
            raise TraceError(
                f"the snapshot has {channel} {value}; a run begins in the safe state, with {channel} {safe[0]}"
            )


#: Words that a sensor's read-back may have, where its kind has not those of a contact.
_WORDS = {
    "analog": ("open", "short"),
    "modbus": ("open", "silent", "bad-crc", "exception", "fault", "end-of-life"),
}


def check_fits(trace: Trace, parameters: Parameters) -> None:
    """The sensors of the trace must be of the profile's kind; else raises TraceError."""
    kinds = {f"sensor.{t}": s.kind for s in parameters.sensors for t in s.terminals}
    for record in trace.records:
        if not isinstance(record, Readback) or not record.ch.startswith("sensor."):
            continue
        kind = kinds.get(record.ch)
        fits = kind is not None and (
            kind == ("modbus" if isinstance(record.value, Count) else "analog")
            if isinstance(record.value, Voltage)
            else record.value in _WORDS.get(kind, ("open", "short", "normal", "leak"))
        )
        if not fits:
            has = f"a {kind} sensor" if kind else "no such sensor"
            gave = "a count" if isinstance(record.value, Count) else "a voltage"
            raise TraceError(
                f"{record.ch} gave {gave if isinstance(record.value, Voltage) else record.value} in the trace, "
                f"and {parameters.name} has {has} there; judge the trace by a profile of the board it was taken from"
            )


def _last_tick(trace: Trace) -> int:
    """Up to where everything that happened stands in the trace."""
    if trace.end is not None:
        return trace.end.tick_us
    ticks = [0]
    for record in trace.records:
        if isinstance(record, Snapshot):
            ticks.append(record.tick_us)
        elif isinstance(record, (Edge, Readback)):
            ticks.append(record.latest_us - ON_ITS_WAY_US)
    return max(ticks)


def _nothing(trace: Trace, decision: str, live: bool) -> Judgement:
    end = trace.end
    verdict, reason = "inconclusive", "the run ended before anything was read"
    if end is not None and end.reason == "bench-fault":
        verdict, reason = "bench-fault", end.text or reason
    elif end is not None and end.reason == "stopped" and live:
        verdict, reason = "stopped", "the run was stopped before anything was read"
    return Judgement(verdict, reason, (), (), (), (), 0.0, decision)


def _conclude(
    trace: Trace, parameters: Parameters, book: Book, feed: Feed, decision: str, live: bool, seconds: float
) -> Judgement:
    survey = trace.header.procedure.get("judged") is False
    findings = sorted(book.findings, key=lambda f: (_ORDER[f.verdict], f.at_s))
    unanswered = feed.supplied and not feed.overloaded and not any(feed.edges.values())
    _hint(findings, unsure_inputs(trace.header, feed.edges), feed.edges, bool(trace.header.calibration))
    if unanswered or feed.unasked or survey:
        findings = [_undecided(f) for f in findings]
    not_judged = list(parameters.not_stated)
    if survey:
        not_judged = ["everything: a survey measures and does not judge", *not_judged]
    failed = [f for f in findings if f.verdict == "fail"]
    unproven = [] if survey else unproven_of(parameters, book)
    open_hook_up = NEVER_ANSWERED if unanswered else _never_asked(feed.unasked)
    verdict, reason = _verdict(trace, findings, failed, unproven, open_hook_up, survey, live)
    return Judgement(
        verdict=verdict,
        reason=reason,
        findings=tuple(findings),
        not_exercised=(*_not_exercised(parameters, findings, unproven), *_left_out(trace.header)),
        not_judged=tuple(not_judged),
        cannot_show=cannot_show(parameters),
        board_seconds=seconds,
        decision=decision,
    )


def _hint(findings: list[Finding], unsure: set[str], edges: Mapping[str, int], checked: bool) -> None:
    """A dead, stuck or swapped input of the fixture looks like a fault of the board."""
    stuck = {name for name in unsure if edges[name] <= 1}
    for finding in findings:
        if finding.verdict == "fail" and finding.requirement == "contact" and stuck & set(PAIR):
            finding.text += LOOPBACK_HINT
        if finding.verdict == "fail" and finding.requirement == "backfeed" and not checked:
            finding.text += CHECK_HINT
    failed = [f for f in findings if f.verdict == "fail" and f.output in unsure]
    astray = {f.output for f in failed if f.requirement == "follow"}
    for finding in failed:
        if finding.output in stuck or (len(astray) > 1 and finding.output in astray):
            finding.text += LOOPBACK_HINT


NEVER_ANSWERED = "no output ever answered although the board had supply: check the hook-up and the profile"


def _never_asked(names: list[str]) -> str:
    """A board that never asks its sensor cannot be told from a bus that is wired or set up wrongly."""
    if not names:
        return ""
    return (
        f"the board never asked sensor {', '.join(names)} for its registers although it had supply: check the bus "
        "(A and B, jumpers) and address, baud, parity, function and registers in the profile; if they are right, "
        "the board does not ask"
    )


def _undecided(finding: Finding) -> Finding:
    return replace(finding, verdict="inconclusive") if finding.verdict == "fail" else finding


def _verdict(
    trace: Trace,
    findings: list[Finding],
    failed: list[Finding],
    unproven: list[str],
    open_hook_up: str,
    survey: bool,
    live: bool,
) -> tuple[str, str]:
    end = trace.end
    first = failed[0].text if failed else ""
    if end is not None and end.reason == "bench-fault":
        return "bench-fault", end.text or "the bench could not be trusted any more"
    if end is not None and end.reason == "stopped" and live:
        return "stopped", "the run was stopped" + (f"; failed so far: {first}" if failed else "")
    if survey:
        return "inconclusive", "a survey measures and does not judge"
    if open_hook_up:
        return "inconclusive", open_hook_up
    if failed:
        more = f" (and {len(failed) - 1} more)" if len(failed) > 1 else ""
        return "fail", f"{failed[0].requirement}: {first}{more}"
    if end is None or end.reason == "stopped":
        return "inconclusive", "the run did not come to its end"
    open_ones = [f for f in findings if f.verdict == "inconclusive"]
    if open_ones:
        return "inconclusive", f"too near a limit to tell: {open_ones[0].text}"
    if unproven:
        return "inconclusive", f"partial run: not proven: {', '.join(unproven)}"
    return "pass", "everything that the profile demands was proven"


def unproven_of(parameters: Parameters, book: Book) -> list[str]:
    """What `must_prove` demands and no passed finding shows."""
    return [item for item in parameters.must_prove if not _is_proven(item, parameters, book)]


def _is_proven(item: str, parameters: Parameters, book: Book) -> bool:
    name, _, output = item.partition(":")
    found = [p for p in book.proven if p[0] == name and (not output or p[1] == output)]
    if name == "light":
        return {p[2] for p in found} >= _light_modes(parameters)
    if name in ("blocked", "forced") and output:
        return {p[2] for p in found} >= _BOTH_MODES
    if name == "follow" and output:
        return {(name, output, True), (name, output, False)} <= book.directions
    return bool(found)


def _light_modes(parameters: Parameters) -> set[Mode]:
    """In which modes the light must have been seen."""
    light, lossy = parameters.light, any(s.lost_by for s in parameters.sensors)
    modes = {Mode.NORMAL, *MITIGATING, *((Mode.SENSOR_FAULT,) if lossy else ())}
    return set() if light is None else {m for m in modes if light.codes[m] is not None}


def applicable(parameters: Parameters) -> list[str]:
    """Everything this profile's board can be tested for, as NAME or NAME:OUTPUT."""
    rules, items = parameters.rules, ["power-up"]
    for output in parameters.outputs:
        if output.call is not None:
            items.append(f"follow:{output.name}")
        if output.modes[Mode.NORMAL] is not output.modes[Mode.LEAK_ACTIVE]:
            items.append(f"trip:{output.name}")
        if output.modes[Mode.NORMAL] is Policy.FOLLOW and output.modes[Mode.LEAK_ACTIVE] is not Policy.FOLLOW:
            held = "blocked" if output.modes[Mode.LEAK_ACTIVE] is Policy.OFF else "forced"
            items.append(f"{held}:{output.name}")
        if output.modes[Mode.LEAK_ACTIVE] is not output.modes[Mode.POST_LEAK_HOLD]:
            items.append(f"clear:{output.name}")
    items += ["hold", "re-leak"]
    if are_watched(parameters):
        items.append("contact")
    if any(s.lost_by for s in parameters.sensors):
        items += ["loss", "kept-on-loss", "latch" if rules.latching else "return"]
    if parameters.button is not None:
        items += [*(["self-test"] if parameters.has_self_test else []), "button"]
    if any(o.restart for o in parameters.outputs):
        items.append("restart")
    if parameters.light is not None:
        items.append("light")
    if recalls(parameters):
        items.append("recall")
    items.append("supply")
    if any(s.trip for s in parameters.sensors):
        items.append("level")
    return [*items, *(["backfeed"] if is_backfeed_judged(parameters) else [])]


def _not_exercised(parameters: Parameters, findings: list[Finding], unproven: list[str]) -> list[str]:
    seen = {(f.requirement, f.output) for f in findings}
    names = {f.requirement for f in findings}
    missing = []
    for item in applicable(parameters):
        name, _, output = item.partition(":")
        if (name, output) not in seen if output else name not in names:
            missing.append(item)
    return missing + [u for u in unproven if u not in missing and not _seen(u, seen, names)]


def _left_out(header: Header) -> Iterable[str]:
    """What the procedure itself says that it could not exercise, and why."""
    return (str(reason) for reason in header.procedure.get("left_out") or ())


def _seen(item: str, seen: set[tuple[str, str | None]], names: set[str]) -> bool:
    name, _, output = item.partition(":")
    return (name, output) in seen if output else name in names


def cannot_show(parameters: Parameters) -> tuple[str, ...]:
    """What no run on this bench can prove."""
    half_ms = 500 / parameters.frequency_hz
    return (
        f"a pulse on a 24 VAC terminal shorter than one half cycle ({half_ms:.1f} ms)",
        "the sensing element itself: the fixture plays the sensor",
        "what the equipment behind the terminals does",
    )
