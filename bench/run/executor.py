"""Carries out a planned procedure on a bench.

What it sees decides *when* the next step comes, never what is right.  Time
comes only from the bench's ticks.  Three things are watched all the while: that
everything that was moved is read back, that the fixture's clock can be
trusted, and that the supply stays up, or away (`bench.run.supply`).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace

from bench.errors import BenchFault, Stopped
from bench.procedure.plan import Action, Ask, Climb, Demand, Move, Pause, Planned, Push, Watch
from bench.procedure.words import output_channel, say_us
from bench.run.bench import Bench
from bench.run.clock_watch import ClockWatch
from bench.run.observer import Observer
from bench.run.supply import Supply
from bench.trace.records import Applied, Count, Edge, Note, Readback, Record, Snapshot, Value, Voltage
from firmware_ref.parameters import Parameters

#: Longest single wait for events; the fixture opens everything after 3 s without a byte.
POLL_US = 500_000
#: An applied stimulus must be read back within this.
READBACK_US = 200_000
#: A command must have been carried out within this: a relay takes some 10 ms, the signal's filter some 100.
APPLIED_US = 1_000_000
#: An AC edge may be told this long after it (hardware/PROTOCOL.md: 15 ms); waited for at the end.
DRAIN_US = 30_000
#: A board that tells an open wire by a pull shifts its signal by some 10 mV; what shifts it by more is no such pull.
PULL_UV = 100_000
#: How long the person may take to answer a prompt; ours.
PROMPT_US = 600_000_000


class Executor:
    """One run of planned steps.  `poll_us` may be long only where nothing listens for life (a dry run)."""

    def __init__(
        self,
        bench: Bench,
        parameters: Parameters,
        snapshot: Snapshot,
        *,
        write: Callable[[Record], None],
        observer: Observer,
        stop: Callable[[], bool],
        clock: ClockWatch,
        poll_us: int = POLL_US,
    ) -> None:
        self._bench = bench
        self._write = write
        self._observer = observer
        self._stop = stop
        self._clock = clock
        self._poll_us = poll_us
        self._outputs = {output_channel(o.name) for o in parameters.outputs}
        self._glitch_us = parameters.timing.glitch_us
        self._levels = {ch: v for ch, v in snapshot.values.items() if isinstance(v, str)}
        self._supply = Supply(self._levels)
        self._origins: dict[str, int] = {}
        self._changes = 0
        self._first_us = self._told_us = snapshot.tick_us
        self._applied: dict[tuple[int, str], int] = {}  # (command, channel) -> sequence number of the record
        self._owed: dict[int, tuple[Applied, set[str]]] = {}  # what is still to be read back
        self._most_uv = {f"sensor.{s.name}": s.max_uv for s in parameters.sensors}
        self._pulls_uv: dict[str, int] = {}  # by how much the board shifts its sensor's signal
        self._at_board: dict[str, Value] = {}
        self._pushed = 0  # moves of the button that were read back

    def run(self, steps: Iterable[Planned]) -> None:
        """All steps in order.

        Raises BenchFault, Stopped, or `bench.run.supply.UnitLoadsSupply`.
        """
        planned = tuple(steps)
        part = ""
        for index, step in enumerate(planned):
            if step.part and step.part != part:
                part = step.part
                self._write(Note(self._bench.now_us(), part))
            self._observer.step(index, len(planned), f"{part}: {step.text}" if part else step.text)
            for action in step.actions:
                self._do(action)
        self._wait(DRAIN_US)
        while self._fetch(0):
            pass
        if self._clock.due_us is not None:
            self._write(self._clock.take())
            self._clock.check()

    @property
    def known_us(self) -> int:
        """Up to which tick everything that happened has been told; what came later may be on its way."""
        return max(self._first_us, self._told_us - DRAIN_US)

    def _do(self, action: Action) -> None:
        if isinstance(action, Move):
            for ch, value in action.moves:
                if isinstance(value, Voltage):
                    self._signal(ch, value)
                else:
                    self._move(ch, value)
        elif isinstance(action, Push):
            self._push(action)
        elif isinstance(action, Climb):
            self._climb(action)
        elif isinstance(action, Pause):
            self._wait(action.us, origin_us=self._origins.get(action.since), surely=action.surely)
        elif isinstance(action, Watch):
            self._wait(action.at_most_us, self._seen(action.levels))
        elif isinstance(action, Demand):
            if not self._wait(action.within_us, self._seen(action.levels)):
                wanted = " and ".join(f"{ch} {level}" for ch, level in action.levels)
                raise BenchFault(
                    f"the bench did not read {wanted} within {say_us(action.within_us)}; check source, fuse and wiring"
                )
        else:
            self._ask(action)

    def _seen(self, levels: tuple[tuple[str, str], ...]) -> Callable[[], bool]:
        if levels:
            return lambda: all(self._levels.get(ch) == level for ch, level in levels)
        before = self._changes
        return lambda: self._changes > before

    def _ask(self, ask: Ask) -> None:
        self._observer.ask(ask.text)
        if not self._wait(PROMPT_US, self._observer.answered):
            raise BenchFault(f"nobody answered within {say_us(PROMPT_US)}: {ask.text}")
        self._write(Note(self._bench.now_us(), f"done by the person: {ask.text}"))

    def _climb(self, climb: Climb) -> None:
        """One level after the other; what an output does for less than the glitch time ends nothing."""
        before = self._read_outputs()
        for value in climb.values:
            self._signal(climb.channel, value)
            end_us = self._bench.now_us() + self._clock.ticks(climb.each_us, True)
            while (left_us := end_us - self._bench.now_us()) > 0:
                if self._wait(left_us, lambda: self._read_outputs() != before):
                    self._wait(self._glitch_us)
                    if self._read_outputs() != before:
                        return

    def _read_outputs(self) -> dict[str, str | None]:
        return {ch: self._levels.get(ch) for ch in self._outputs}

    def _signal(self, ch: str, wanted: Voltage) -> None:
        """Bring a sensor signal to a level at the board's terminal, whatever the board's pull makes of it."""
        self._move(ch, self._ahead(ch, wanted))
        found = self._at_board.get(ch)
        off_uv = found.value_uv - wanted.value_uv if isinstance(found, Voltage) else 0
        if wanted.bound_uv < abs(off_uv) <= PULL_UV:
            self._pulls_uv[ch] = self._pulls_uv.get(ch, 0) + off_uv
            self._move(ch, self._ahead(ch, wanted))

    def _ahead(self, ch: str, wanted: Voltage) -> Voltage:
        value_uv = wanted.value_uv - self._pulls_uv.get(ch, 0)
        return replace(wanted, value_uv=min(max(0, value_uv), self._most_uv.get(ch, value_uv)))

    def _move(self, ch: str, value: Value) -> None:
        """Bring a channel to a value and wait until it is read back; see to the supply where it is a switch."""
        if (ch, value) == ("main", "closed"):
            self._check_away()
        self._supply.before(ch, value)
        identity = self._bench.apply(ch, value)
        if not self._wait(APPLIED_US, lambda: (identity, ch) in self._applied):
            raise BenchFault(
                f"the fixture took {ch} {_said(value)} and did not carry it out; run `mitbench fixture check`"
            )
        seq = self._applied.pop((identity, ch))
        self._wait(APPLIED_US, lambda: seq not in self._owed)
        if self._supply.closing(ch, value):
            if not self._wait(self._supply.UP_US, lambda: self._levels.get("sense.board") == "on"):
                self._supply_failed()
            self._supply.up = True

    def _check_away(self) -> None:
        """That the board has no supply before the main switch closes: after that nobody could tell."""
        self._wait(self._supply.unsettled_us(self._bench.now_us()))
        while self._fetch(0):
            pass
        if self._supply.stays(self._bench.now_us(), self._supply.SETTLED_US):
            raise self._supply.shorted()

    def _push(self, push: Push) -> None:
        """Press the button, and wait until every press has been read back."""
        wanted = self._pushed + 2 * push.count
        self._bench.pulse("button", push.span_us, push.count, push.gap_us)
        takes_us = push.count * (push.span_us + push.gap_us) + APPLIED_US
        if not self._wait(takes_us, lambda: self._pushed >= wanted, surely=True):
            raise BenchFault(
                "the fixture took a press of the button and did not carry it out; run `mitbench fixture check`"
            )

    def _supply_failed(self) -> None:
        """The board's supply did not come up, or went: open at once, then see whose fault it is."""
        self._supply.up = False
        self._observer.note("the board's supply did not stay up: opening everything")
        for ch in ("main", "board"):
            self._bench.apply(ch, "open")
        self._wait(self._supply.UP_US)  # what was seen before the opening may still be on its way
        self._wait(self._supply.RECOVERY_US, self._supply.recovered)
        raise self._supply.verdict()

    def _wait(
        self,
        us: int,
        done: Callable[[], bool] | None = None,
        *,
        origin_us: int | None = None,
        surely: bool = False,
    ) -> bool:
        """Wait `us` of true time, from `origin_us` or from now, or until `done`; whether it was done."""
        start_us = self._bench.now_us() if origin_us is None else origin_us
        while done is None or not done():
            left_us = start_us + self._clock.ticks(us, surely) - self._bench.now_us()
            if left_us <= 0:
                return False
            self._poll(min(left_us, self._poll_us))
        return True

    def _poll(self, wait_us: int) -> None:
        if self._stop():
            raise Stopped("the run was stopped; everything is open")
        due_us = self._clock.due_us
        if due_us is not None:
            now_us = self._bench.now_us()
            if now_us >= due_us:
                self._write(self._clock.take())
            elif due_us - now_us < wait_us:
                wait_us = due_us - now_us  # so that samples do not fall on the beat of the polls
        if not self._fetch(wait_us):  # all is told
            self._check_owed()
            if self._supply.stays(self._bench.now_us()):
                raise self._supply.shorted()
        if self._supply.leaks():
            raise self._supply.shorted()
        if self._supply.up and self._supply.gone():
            self._supply_failed()

    def _fetch(self, wait_us: int) -> bool:
        """Take what the fixture has to tell, waiting at most so long for the first; whether there was any."""
        records = self._bench.poll(wait_us)
        self._told_us = self._bench.now_us()
        for record in records:
            self._write(record)
            self._note(record)
        return bool(records)

    def _note(self, record: Record) -> None:
        if isinstance(record, Edge):
            self._levels[record.ch] = record.value
            self._supply.edge(record)
            if record.ch in self._outputs:
                self._changes += 1
            if record.ch == "sense.board" and record.value == "on":
                self._origins["supply"] = record.latest_us
        elif isinstance(record, Applied):
            self._applied[record.id, record.ch] = record.seq
            self._supply.switch(record)
            what = {"terminal"} if record.ch.startswith("sensor.") else {"position"}
            self._owed[record.seq] = (record, what)
        elif isinstance(record, Readback):
            self._read_back(record)

    def _read_back(self, record: Readback) -> None:
        self._supply.switch(record)
        applied, what = self._owed.get(record.of, (None, set()))
        if applied is None:
            return
        what.discard(record.what)
        if record.what == "terminal":
            self._at_board[record.ch] = record.value
        if not what:
            del self._owed[record.of]
            self._pushed += record.ch == "button"
            self._origins[_kind(record.ch)] = record.latest_us
            if record.earliest_us - applied.latest_us > READBACK_US:
                raise _late(applied)

    def _check_owed(self) -> None:
        for applied, _ in self._owed.values():
            if self._bench.now_us() - applied.latest_us > READBACK_US:
                raise _late(applied)


def _said(value: Value) -> str:
    if not isinstance(value, Voltage):
        return value
    return f"count {value.value_uv}" if isinstance(value, Count) else f"{value.value_uv / 1e6:.3f} V"


def _kind(ch: str) -> str:
    kind = ch.partition(".")[0]
    return kind if kind in ("sensor", "call", "button") else "switch"


def _late(applied: Applied) -> BenchFault:
    return BenchFault(
        f"{applied.ch} was moved and not read back within {READBACK_US // 1000} ms; run `mitbench fixture check`"
    )
