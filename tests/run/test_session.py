"""One run over benches that are good, and that are not."""

from __future__ import annotations

from itertools import pairwise

import pytest

from bench.errors import BenchFault, ProcedureError
from bench.procedure import load
from bench.procedure.reading import read_text
from bench.procedure.steps import Apply, Procedure, Step, Wait, WaitTimer
from bench.run.observer import Silent
from bench.run.session import run_session
from bench.trace.records import Clock, Edge, End, Note, Record, Snapshot, Voltage
from tests.boards import S, air_handler, furnace
from tests.run.fakes import (
    BlownFuse,
    Broken,
    FakeBench,
    FastClock,
    FuseBlowsLater,
    HalfShorted,
    LateOff,
    MainShorted,
    NoReadback,
    OddSnapshot,
    Overloaded,
    Raises,
    Unplugged,
    profile_of,
)


class Watcher(Silent):
    def __init__(self) -> None:
        self.steps: list[tuple[int, int, str]] = []
        self.records: list[Record] = []
        self.asked: list[str] = []
        self.silent_for = 0

    def step(self, index: int, total: int, text: str) -> None:
        self.steps.append((index, total, text))

    def record(self, record: Record) -> None:
        self.records.append(record)

    def ask(self, text: str) -> None:
        self.asked.append(text)

    def answered(self) -> bool:
        self.silent_for -= 1
        return self.silent_for < 0


def go(bench, procedure=None, parameters=None, *, stop=lambda: False, watcher=None, sink=None):
    parameters = parameters or furnace()
    records: list[Record] = []
    end = run_session(
        bench, procedure or load("acceptance", parameters), profile_of(parameters),
        sink=sink or records.append, observer=watcher or Watcher(), stop=stop,
    )  # fmt: skip
    return end, records


@pytest.mark.parametrize("board", [furnace, air_handler])
def test_a_good_run_is_whole(board):
    bench, watcher = FakeBench(board()), Watcher()
    end, records = go(bench, parameters=board(), watcher=watcher)
    assert end.reason == "complete" and end.text == ""
    assert isinstance(records[0], Snapshot) and records[-1] is end
    assert watcher.records == records
    assert bench.safe_calls == 1
    assert [i for i, _, _ in watcher.steps] == list(range(watcher.steps[0][1]))
    assert bench.longest_wait_us <= 500_000
    assert Note in {type(r) for r in records}


def test_clock_samples_come_at_odd_intervals_more_of_them_at_first():
    _, records = go(FakeBench(furnace()))
    ticks = [r.tick_us for r in records if isinstance(r, Clock)]
    gaps = [b - a for a, b in pairwise(ticks)]
    assert len(set(gaps)) > 5
    assert sum(t < 10 * S for t in ticks) >= 5
    assert max(gaps) <= 8.5 * S


def test_waits_are_long_enough_on_a_fast_clock():
    """Ticks pass 0.4 % too fast: a wait past the longest hold must take more of them."""
    fast, exact = FastClock(furnace(), 4_000), FakeBench(furnace())
    go(fast), go(exact)
    assert fast.applied[-1][2] / exact.applied[-1][2] == pytest.approx(1.004, abs=0.0005)


def test_a_clock_out_of_its_limits_is_a_bench_fault():
    end, _ = go(FastClock(furnace(), 8_000))
    assert end.reason == "bench-fault" and "0.6 %" in end.text


def test_an_overload_ends_the_run_and_is_left_to_the_judge():
    bench = Overloaded(furnace())
    end, records = go(bench)
    assert (end.reason, "loads the supply" in end.text) == ("complete", True)
    assert [a[:2] for a in bench.applied[-2:]] == [("main", "open"), ("board", "open")]
    closed_us = next(t for ch, value, t in bench.applied if (ch, value) == ("main", "closed"))
    opened_us = next(t for ch, value, t in bench.applied if (ch, value) == ("main", "open"))
    assert opened_us - closed_us <= 300_000
    edges = [(r.ch, r.value) for r in records if isinstance(r, Edge)]
    assert edges.index(("sense.main", "off")) < edges.index(("sense.main", "on"))


@pytest.mark.parametrize(
    ("bench", "said"),
    [
        (Broken, "did not come back"),
        (BlownFuse, "the source stayed good"),
        (FuseBlowsLater, "the source stayed good"),
        (HalfShorted, "though the main switch reads open"),
        (MainShorted, "though the main switch reads open"),
        (lambda p: MainShorted(p, later=True), "though the main switch reads open"),
        (lambda p: OddSnapshot(p, "sense.main", "off"), "sense.main on"),
        (lambda p: OddSnapshot(p, "sense.board", "on"), "sense.board reads on"),
        (lambda p: OddSnapshot(p, "call.Y", "on"), "call.Y reads on"),
        (lambda p: OddSnapshot(p, "out.W", "on"), "out.W reads on"),
        (lambda p: OddSnapshot(p, "out.W", None), "says nothing about out.W"),
        (NoReadback, "call.W was moved and not read back"),
        (lambda p: NoReadback(p, "sensor.1", "terminal"), "sensor.1 was moved and not read back"),
        (lambda p: Raises(p, BenchFault("no answer")), "no answer"),
        (Unplugged, "unplugged"),
    ],
)
def test_bench_faults(bench, said):
    made = bench(furnace())
    end, records = go(made)
    assert end.reason == "bench-fault" and said in end.text, end
    assert made.safe_calls >= 1 and records[-1] is end


@pytest.mark.parametrize("short", [MainShorted, HalfShorted])
def test_a_shorted_main_switch_is_seen_before_it_is_closed(short):
    bench = short(furnace())
    go(bench)
    assert [a[:2] for a in bench.applied][-1] == ("board", "closed")


def test_one_that_fails_later_is_seen_at_the_first_cut():
    bench = MainShorted(furnace(), later=True)
    go(bench)
    switched = [(ch, value, at_us) for ch, value, at_us in bench.applied if ch in ("main", "board")]
    assert switched[-1][:2] == ("main", "open") and bench.now_us() - switched[-1][2] < 1 * S


@pytest.mark.parametrize("cut_us", [20_000, 150_000, 5 * S])
def test_a_supply_that_rings_on_for_a_moment_is_no_shorted_switch(cut_us):
    """The shortest cut is over before anything can be said of it."""
    close, cut = Apply((("board", "closed"), ("main", "closed"))), Apply((("main", "open"),))
    steps = (close, Wait(S), cut, Wait(cut_us), Apply((("main", "closed"),)), Wait(S))
    end, _ = go(LateOff(furnace()), Procedure("p", "", tuple(map(Step, steps))))
    assert end.reason == "complete", end.text


def test_a_cut_is_as_short_as_was_asked():
    bench = FakeBench(furnace())
    steps = (
        Apply((("board", "closed"), ("main", "closed"))), Wait(S), Apply((("main", "open"),)), Wait(20_000),
        Apply((("main", "closed"),)),
    )  # fmt: skip
    go(bench, Procedure("p", "", tuple(map(Step, steps))))
    opened, closed = [t for ch, _, t in bench.applied if ch == "main"][1:]
    assert 20_000 <= closed - opened < 25_000


def test_stopped_by_the_person():
    bench = FakeBench(furnace())
    end, records = go(bench, stop=lambda: bench.now_us() > 15 * S)
    assert end.reason == "stopped" and bench.safe_calls == 1 and records[-1] is end
    assert 14.9 * S < end.tick_us < 17 * S  # what was told last is 30 ms old


def test_an_interrupt_in_the_middle_is_a_stop():
    bench = Raises(furnace(), KeyboardInterrupt())
    end, records = go(bench)
    assert end.reason == "stopped" and bench.safe_calls == 1 and records[-1] is end


def test_a_second_interrupt_while_opening_does_not_stop_the_opening():
    class Impatient(Raises):
        def safe(self) -> None:
            super().safe()
            if self.safe_calls == 1:
                raise KeyboardInterrupt

    bench = Impatient(furnace(), KeyboardInterrupt())
    end, records = go(bench)
    assert end.reason == "stopped" and bench.safe_calls == 2 and records[-1] is end


def test_our_own_error_opens_everything_ends_the_trace_and_comes_through():
    bench, records = Raises(furnace(), ZeroDivisionError()), []
    with pytest.raises(ZeroDivisionError):
        go(bench, sink=records.append)
    assert bench.safe_calls == 1
    assert isinstance(records[-1], End) and records[-1].reason == "bench-fault"


def test_a_full_disk_is_a_bench_fault_and_opens_everything():
    written: list[Record] = []

    def sink(record: Record) -> None:
        if len(written) > 50:
            raise OSError(28, "No space left on device")
        written.append(record)

    bench = FakeBench(furnace())
    end, _ = go(bench, sink=sink)
    assert end.reason == "bench-fault" and "No space left" in end.text and bench.safe_calls == 1


def test_what_does_not_fit_is_refused_before_anything_is_touched():
    bench = FakeBench(furnace())
    wrong = Procedure("wrong", "", (Step(Apply((("call.B", "on"),))),))
    with pytest.raises(ProcedureError, match=r"call\.B"):
        go(bench, wrong)
    assert bench.applied == [] and bench.safe_calls == 0


def test_a_timer_counts_from_its_stimulus_not_from_the_wait():
    clear = Apply((("sensor.1", "clear"),))
    steps = (clear, Wait(3 * S), WaitTimer("clear", 1.0), clear)
    bench = FakeBench(furnace())
    go(bench, Procedure("p", "", tuple(map(Step, steps))))
    assert bench.applied[1][2] - bench.applied[0][2] == pytest.approx(
        3 * S, rel=0.01
    )  # clear is 3 s at least


WRITTEN = b"""
format: mitbench-procedure-1
name: by-hand
steps:
  - sensor.1: clear
  - {board: closed, main: closed}
  - require: {sense.board: on, within: 200 ms}
  - wait: {timer: warm_up, past: max}
  - call.Y: on
  - until: {out.Y: on, at_most: 5 s}
  - prompt: Fit the plug.
  - sensor.1: {ramp: {to: 24 %LFL, over: 10 s}}
  - until: {outputs: change, at_most: 10 s}
  - until: {out.W: on, at_most: 2 s}
"""


def test_a_procedure_written_by_hand():
    bench, watcher = FakeBench(furnace()), Watcher()
    watcher.silent_for = 20
    end, records = go(bench, read_text(WRITTEN, "by-hand.yaml"), watcher=watcher)
    assert end.reason == "complete" and watcher.asked == ["Fit the plug."]
    assert any(isinstance(r, Note) and "Fit the plug." in r.text for r in records)
    ramp = [(value.value_uv, at) for ch, value, at in bench.applied if isinstance(value, Voltage)][1:]
    assert ramp[-1][0] == 1_460_000 and ramp == sorted(ramp) and len(ramp) == 40
    assert ramp[-1][1] - ramp[0][1] == pytest.approx(10 * S * 39 / 40, rel=0.02)
    edges = [(r.ch, r.value) for r in records if isinstance(r, Edge)]
    assert edges[-2:] == [("out.Y", "off"), ("out.G", "on")] or edges[-2:] == [
        ("out.G", "on"),
        ("out.Y", "off"),
    ]


def test_a_bench_condition_that_does_not_come_true_is_a_bench_fault():
    text = b"format: mitbench-procedure-1\nname: x\nsteps:\n  - require: {sense.board: on, within: 1 s}\n"
    end, _ = go(FakeBench(furnace()), read_text(text, "x.yaml"))
    assert end.reason == "bench-fault" and "sense.board on within 1 s" in end.text


def test_a_prompt_that_nobody_answers_ends_the_run():
    watcher = Watcher()
    watcher.silent_for = 10**9
    text = b"format: mitbench-procedure-1\nname: x\nsteps:\n  - prompt: Fit the plug.\n"
    end, _ = go(FakeBench(furnace()), read_text(text, "x.yaml"), watcher=watcher)
    assert end.reason == "bench-fault" and "nobody answered within 10 min" in end.text
