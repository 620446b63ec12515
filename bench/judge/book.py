"""Findings as they fall, in words a technician uses.

The tracker says what happened; this says what it proves or breaks, with
figures.  One fault is one finding: an output that a failed finding names is
`wrong` until it moves rightly again, and what it breaks meanwhile goes into
that finding's `also` and `count`.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from bench.judge.budget import Measurement, measure
from bench.judge.clock import EXACT, ClockFit
from bench.judge.events import ButtonMoved, CallMoved, Change, SensorMoved, Stimulus
from bench.judge.figures import USUAL, decimals
from bench.judge.findings import REQUIREMENTS, Finding
from bench.judge.orders import in_force
from bench.judge.possibility import Expect, Possibility
from bench.judge.window import Stamp, Window
from bench.trace.records import Count, Value, Voltage
from firmware_ref.parameters import Mode, Output, Parameters, Policy

#: Requirements that the whole board meets or breaks, whichever output shows it.
WHOLE_BOARD = frozenset({"hold", "re-leak", "kept-on-loss", "supply", "button", "contact"})

_RANK = {"pass": 0, "inconclusive": 1, "fail": 2}


@dataclass(slots=True)
class Missing:
    """An output overdue: by which order, until when; `also`: what else it answers."""

    output: str
    expect: Expect
    mode: Mode
    also: tuple[str, ...] = ()


@dataclass(slots=True)
class Book:
    """`zero_us`: the snapshot; `proven`: (requirement, output, mode)
    of passed findings; `directions`: (requirement, output, to on) of passed moves;
    `clock`: what the stamps were timed by."""

    parameters: Parameters
    zero_us: int
    decision: str
    findings: list[Finding] = field(default_factory=list)
    wrong: dict[str, Finding] = field(default_factory=dict)
    proven: set[tuple[str, str | None, Mode | None]] = field(default_factory=set)
    directions: set[tuple[str, str | None, bool]] = field(default_factory=set)
    clock: ClockFit = EXACT
    _causes: dict[tuple[Stamp, str | None], str] = field(default_factory=dict)
    _signals: dict[str, Value] = field(default_factory=dict)
    _late: dict[int, Window] = field(default_factory=dict)
    _bursts: dict[tuple[str, Stamp], Finding] = field(default_factory=dict)

    # --- what was done to the board -------------------------------------------

    def stimulus(self, event: Stimulus) -> None:
        """Remember a stimulus in words; what was missing before it can no longer come late."""
        touched: set[str] | None = None
        if isinstance(event, CallMoved):
            touched = {o.name for o in self.parameters.outputs if o.call == event.call}
            self._causes[event.stamp, event.call] = (
                f"the {event.call} call went {'on' if event.on else 'off'}"
            )
        elif isinstance(event, SensorMoved):
            # A terminal that stays as it was, beside another that moves at once, is no cause.
            if self._signals.get(event.sensor) != event.value:
                self._causes[event.stamp, None] = f"{self._terminal(event)} went to {self._signal(event)}"
            self._signals[event.sensor] = event.value
        elif isinstance(event, ButtonMoved):
            touched = set()  # of what is still missing nothing is moot by it
            if event.on:
                self._causes[event.stamp, None] = "the beginning of a press of the button"
        else:
            self._causes[event.stamp, None] = "the supply came" if event.on else "the supply went"
        for name, finding in self.wrong.items():
            if touched is None or name in touched:
                self._late.pop(id(finding), None)

    def _terminal(self, event: SensorMoved) -> str:
        name, _, trouble = event.sensor.partition("-")
        return f"the trouble contact of sensor {name}" if trouble else f"sensor {name}"

    def _signal(self, event: SensorMoved) -> str:
        value = event.value
        sensor = next(s for s in self.parameters.sensors if event.sensor in s.terminals)
        if not isinstance(value, Voltage):
            says = sensor.contact_says(event.sensor, value)
            return value if says is None else f"{says} ({'closed' if value == 'short' else 'open'})"
        if isinstance(value, Count):
            return f"{sensor.level_at(value.value_uv):.1f} %LFL"
        return f"{value.value_uv / 1e6:.3f} V ({sensor.level_at(value.value_uv):.1f} %LFL)"

    def cause(self, stamp: Stamp, output: str | None = None) -> str:
        """The stimulus at `stamp` in words; of calls that moved together, the output's own."""
        call = None if output is None else self.parameters.output(output).call
        found = self._causes.get((stamp, call)) or self._causes.get((stamp, None))
        return found or ("the first output did" if stamp.mid_us > self.zero_us else "the start")

    # --- what was right ---------------------------------------------------------

    def moved(self, change: Change, ways: list[tuple[Possibility, Expect]]) -> None:
        """An output moved as ordered.  Of several orders it may answer, the best met counts."""
        best: tuple[int, int, Expect, Possibility, Measurement] | None = None
        for p, expect in ways:
            assert expect.due is not None
            found = measure(expect.stated or expect.due, change.stamp, self.decision, self.clock)
            rank = (_RANK[found.verdict], REQUIREMENTS.index(expect.requirement), expect, p, found)
            if best is None or rank[:2] < best[:2]:
                best = rank
        assert best is not None
        _, _, expect, p, found = best
        output = None if expect.requirement in WHOLE_BOARD else change.output
        self._measured(expect.requirement, output, change, expect, found, p.mode)

    def _measured(
        self,
        requirement: str,
        output: str | None,
        change: Change,
        expect: Expect,
        found: Measurement,
        mode: Mode,
    ) -> Finding:
        assert expect.due is not None
        window = expect.stated or expect.due
        # How soon the board tripped says little: what a trip must show is that it is not late.
        stated = window.high is not None or (not window.causal and requirement != "trip")
        low, high = found.limits_s
        places = decimals(found.measured_us / 1e6, low, high)
        text = f"{self._went(change, found, window, places)}; {_allowed(low, high, places)}"
        finding = Finding(
            requirement=requirement,
            output=output,
            verdict=found.verdict,
            kind=found.kind,
            at_s=self._at(change.stamp.mid_us),
            text=text,
            limits=(low, high),
            **found.figures(),
            margin=None if found.margin_us is None else found.margin_us / 1e6,
        )
        self.findings.append(finding)
        if found.verdict == "pass" and stated:
            self.proven.add((requirement, output, mode))
            self.directions.add((requirement, output, change.on))
        return finding

    def _passed(self, requirement: str, output: str | None, at_us: int, text: str, mode: Mode | None) -> None:
        self.findings.append(Finding(requirement, output, "pass", self._at(at_us), text))
        self.proven.add((requirement, output, mode))

    def held(self, output: Output, event: CallMoved, possibilities: list[Possibility], lost: bool) -> None:
        """A call change that the output rightly did not show."""
        modes = {p.mode for p in possibilities}
        requirement = in_force(output, possibilities[0], lost)
        stays = "on" if possibilities[0].policy(output) is Policy.ON else "off"
        stamp = event.stamp
        text = f"{output.name} stayed {stays} when {self.cause(stamp, output.name)} in {_modes(modes)}"
        for mode in modes if len(modes) == 1 else (None,):
            self._passed(requirement, output.name, stamp.mid_us, text, mode)

    def kept(self, event: SensorMoved) -> None:
        """Mitigation went on through a sensor loss."""
        stamp = event.stamp
        text = f"mitigation went on after {self.cause(stamp)}"
        self._passed("kept-on-loss", None, stamp.mid_us, text, None)

    def pressed(self, begin: Stamp, said: str) -> None:
        """What began at `begin` is over, and can be said in full."""
        self._causes[begin, None] = f"the beginning of {said}"

    def unmoved(self, pressed: str, stamp: Stamp, modes: set[Mode]) -> None:
        """Nothing came of what was pressed, rightly."""
        text = f"nothing came of {pressed} in {_modes(modes)}, where it asks for nothing"
        for mode in modes if len(modes) == 1 else (None,):
            self._passed("button", None, stamp.mid_us, text, mode)

    def restarted(self, p: Possibility, now_us: int) -> None:
        """A hold cut off by a re-leak did not end when it would have."""
        assert p.ghost is not None and p.ghost.high is not None
        would_s = self._at(p.ghost.high.nominal_us)
        text = f"mitigation went on past {would_s:.1f} s, when the hold before the re-leak would have ended"
        self._passed("re-leak", None, now_us, text, None)

    # --- what was wrong ---------------------------------------------------------

    def early(self, change: Change, requirement: str, window: Window, also: tuple[str, ...] = ()) -> Finding:
        """A move before its window opens."""
        found = measure(window, change.stamp, self.decision, self.clock)
        output = None if requirement in WHOLE_BOARD else change.output
        low, high = found.limits_s
        by_s = (window.low.nominal_us - change.stamp.mid_us) / 1e6
        places = max(decimals(found.measured_us / 1e6, low, high), decimals(by_s, 0.0))
        what = "the hold did not start afresh after the re-leak: " if requirement == "re-leak" else ""
        finding = Finding(
            requirement=requirement,
            output=output,
            verdict="fail",
            kind="too-early",
            at_s=self._at(change.stamp.mid_us),
            text=(
                f"{what}{self._went(change, found, window, places)}, too early by {by_s:.{places}f} s; "
                f"{_allowed(low, high, places)}"
            ),
            also=also,
            limits=(low, high),
            **found.figures(),
            margin=-by_s,
        )
        self.findings.append(finding)
        return finding

    def late(self, change: Change, requirement: str, window: Window, also: tuple[str, ...] = ()) -> Finding:
        """A move after its window has closed."""
        found = measure(window, change.stamp, self.decision, self.clock)
        finding = Finding(
            requirement=requirement,
            output=None if requirement in WHOLE_BOARD else change.output,
            verdict="fail",
            at_s=self._at(change.stamp.mid_us),
            text="",
            also=also,
            limits=found.limits_s,
        )
        self._too_late(finding, change, window, found)
        self.findings.append(finding)
        return finding

    def _too_late(self, finding: Finding, change: Change, due: Window, found: Measurement) -> None:
        """Say of a finding that its move came after `due`, and by how much."""
        assert due.high is not None
        by_s = (change.stamp.mid_us - due.high.nominal_us) / 1e6
        limits = finding.limits or (None, None)
        finding.kind, finding.margin = "too-late", -by_s
        for name, figure in found.figures().items():
            setattr(finding, name, figure)
        places = max(decimals(found.measured_us / 1e6, *limits), decimals(by_s, 0.0))
        finding.text = (
            f"{self._went(change, found, due, places)}, too late by {by_s:.{places}f} s; "
            f"{_allowed(*limits, places)}"
        )

    def not_allowed(
        self, change: Change, requirement: str, mode: Mode, wrong: tuple[str, ...] = ()
    ) -> Finding:
        """A move that nothing ordered; the outputs in `wrong` are so until they move rightly."""
        moved = f"{change.output} {self._moves(change)}"
        why = {
            "supply": f"the board restarted by itself ({moved})",
            "kept-on-loss": f"mitigation ended while the sensor was lost ({moved})",
            "button": f"the board took what was pressed on its button for a gesture that it was not ({moved})",
        }.get(requirement, f"{moved}, which is not allowed in {mode}")
        output = None if requirement in WHOLE_BOARD else change.output
        finding = Finding(requirement, output, "fail", self._at(change.stamp.mid_us), why, kind="not-allowed")
        self.findings.append(finding)
        self.wrong.update(dict.fromkeys(wrong, finding))
        return finding

    def missing(self, overdue: list[Missing]) -> None:
        """Outputs that are not where they must be: one finding each, or one for the board."""
        whole: dict[str, Finding] = {}
        for m in overdue:
            requirement = m.expect.requirement
            if requirement in whole:
                finding = whole[requirement]
                finding.count += 1
            else:
                finding = self._missing(m)
                if requirement in WHOLE_BOARD:
                    whole[requirement] = finding
            self.wrong[m.output] = finding

    def _missing(self, m: Missing) -> Finding:
        due = m.expect.due
        level = self.parameters.output(m.output).reading(m.expect.want)
        if due is None or due.high is None:
            text, limits, at_us = f"{m.output} is not {level} in {m.mode}", None, self.zero_us
            if due is not None:
                at_us = due.low.nominal_us
        else:
            low_s, high_s = measure(due, Stamp(due.high.nominal_us, 0), "simple").limits_s
            # Where several orders were possible the first may be older than the cause of the last.
            limits = (None if low_s is not None and low_s < 0 else low_s, high_s)
            at_us = due.high.nominal_us
            go = {"open": "open", "closed": "close"}.get(level, f"go {level}")
            text = f"{m.output} did not {go} after {self.cause(due.origin, m.output)}; {_allowed(*limits)}"
        requirement = m.expect.requirement
        finding = Finding(
            requirement=requirement,
            output=None if requirement in WHOLE_BOARD else m.output,
            verdict="fail",
            kind="missing",
            at_s=self._at(at_us),
            text=text,
            also=m.also,
            limits=limits,
            bound=None if due is None or due.high is None else due.high.slack_us / 1e6,
        )
        self.findings.append(finding)
        if due is not None and due.high is not None:
            self._late[id(finding)] = due
        return finding

    def wrong_again(self, output: str, requirement: str) -> None:
        """An output already named broke something more."""
        finding = self.wrong[output]
        finding.count += 1
        if requirement != finding.requirement and requirement not in finding.also:
            finding.also = (*finding.also, requirement)

    def right_again(self, change: Change) -> bool:
        """An output already named moves rightly: *missing* becomes *too late by* unless it is moot.

        True if this is the late end of a hold, which other outputs must follow.
        """
        finding = self.wrong.pop(change.output)
        due = self._late.pop(id(finding), None)
        if finding.kind != "missing" or due is None or due.high is None:
            return False
        found = measure(due, change.stamp, self.decision, self.clock)
        self._too_late(finding, change, due, found)
        if finding.requirement != "hold":
            return False
        for name in [n for n, f in self.wrong.items() if f is finding]:
            del self.wrong[name]
        return True

    def chatter(self, output: str, bursts: list[tuple[Stamp, int]]) -> None:
        """More lone pulses in a second than a healthy contact gives: one finding a burst."""
        for stamp, pulses in bursts:
            finding = self._bursts.get((output, stamp))
            if finding is None:
                finding = Finding("chatter", output, "fail", self._at(stamp.mid_us), "", kind="chatter")
                self._bursts[output, stamp] = finding
                self.findings.append(finding)
            finding.count = pulses
            finding.text = f"{output} chattered: {pulses} pulses shorter than the glitch time, more than three within a second"

    def overload(self, stamp: Stamp) -> None:
        """The source gave way while the board was connected and came back when it was not."""
        text = (
            "unit loads the supply: the source sagged while the board was connected and recovered without it"
        )
        self.findings.append(
            Finding("power-up", None, "fail", self._at(stamp.mid_us), text, kind="not-allowed")
        )

    def _went(self, change: Change, found: Measurement, window: Window, places: int) -> str:
        """What an output did, and how long after what."""
        return (
            f"{change.output} {self._moves(change)} {round(found.measured_us / 1e6, places) + 0.0:.{places}f} s "
            f"after {self.cause(window.origin, change.output)}"
        )

    def _moves(self, change: Change) -> str:
        level = self.parameters.output(change.output).reading(change.on)
        return {"open": "opened", "closed": "closed"}.get(level, f"went {level}")

    def _at(self, t_us: int) -> float:
        return (t_us - self.zero_us) / 1e6


def _modes(modes: set[Mode]) -> str:
    return " or ".join(sorted(m.value for m in modes))


def _allowed(low: float | None, high: float | None, places: int = USUAL) -> str:
    if high is None:
        return "no limit is stated" if low is None else f"allowed from {low:.{places}f} s on"
    within = f"{high:.{places}f} s"
    return f"allowed within {within}" if low is None else f"allowed {low:.{places}f} to {within}"
