"""Prints how fast the judge is on this machine, and how it grows; asserts nothing.

    python tests/performance/judge_speed.py [--events 1000000]

- a trace of 15 minutes and 500 events (aim: 10 ms after import);
- random boards of ten stimuli judged in a second on one core (aim: 500);
- time and memory against the number of events, up to `--events` (aim: linear, bounded);
- the most possibilities alive at once over all of it (limit: 64).

Figures are the best of several runs, in the time of the process alone.
"""

from __future__ import annotations

import argparse
import sys
import time
import tracemalloc
from collections.abc import Callable
from pathlib import Path

ROOT = Path(__file__).parent.parent.parent
sys.path.insert(0, str(ROOT))

from bench.judge.judge import judge_trace, open_case  # noqa: E402
from bench.trace.records import Edge, Readback, Trace  # noqa: E402
from firmware_ref.parameters import Parameters  # noqa: E402
from tests.boards import furnace  # noqa: E402
from tests.judge.random_profiles import random_parameters  # noqa: E402
from tests.judge.random_runs import random_run, signals  # noqa: E402
from tests.judge.stand import Stand  # noqa: E402

_S = 1_000_000


def best_s(act: Callable[[], object], of: int = 7) -> float:
    shortest = float("inf")
    for _ in range(of):
        begun = time.process_time()
        act()
        shortest = min(shortest, time.process_time() - begun)
    return shortest


def events_of(trace: Trace) -> int:
    return sum(isinstance(r, (Edge, Readback)) for r in trace.records)


def steady(events: int, seconds_an_event: float = 1.8) -> Stand:
    """The furnace board with calls that come and go, and now and then a leak, a loss or a cut.

    Contact bounce counts among the events, and the trace has fewer: about four of five.
    """
    stand = Stand(furnace(), 1, "anywhere")
    sensor = stand.parameters.sensors[0]
    clear, leak = signals(sensor)[0], signals(sensor)[3]
    stand.sensor(sensor.name, clear)
    stand.wait(1 * _S)
    stand.supply(True)
    stand.wait(20 * _S)
    done, pace_us = 0, round(seconds_an_event * _S)
    while len(stand.seen) < events:
        done += 1
        stand.wait(pace_us)
        if done % 150 == 60:
            stand.sensor(sensor.name, leak)
        elif done % 150 == 70:
            stand.sensor(sensor.name, clear)
        elif done % 600 == 550:
            stand.sensor(sensor.name, "open")
        elif done % 600 == 560:
            stand.sensor(sensor.name, clear)
        elif done % 900 in (800, 803):
            stand.supply(not stand.supplied)
        else:
            name = stand.parameters.calls[done % len(stand.calls)]
            stand.call(name, not stand.calls[name])
    return stand


def most_possibilities(trace: Trace, parameters: Parameters) -> int:
    """At any one moment, to the end of every window that is open."""
    tracker = open_case(trace, parameters, "guarded").tracker
    tracker.run(1 << 50)
    return tracker.most


def quarter_hour() -> None:
    stand = steady(602, 2.0)
    trace = stand.trace()
    ms = 1e3 * best_s(lambda: judge_trace(trace, stand.parameters))
    print(
        f"{events_of(trace)} events in {stand.now_us / 60 / _S:.1f} min: {ms:.1f} ms   aim 10 ms   "
        f"most possibilities {most_possibilities(trace, stand.parameters)}"
    )


def boards_a_second() -> None:
    stands = [random_run(random_parameters(seed), seed, steps=10) for seed in range(200)]
    traces = [(s.trace(), s.parameters) for s in stands]
    took = best_s(lambda: [judge_trace(t, p) for t, p in traces], of=3)
    making = best_s(lambda: [random_run(p, 1, steps=10).trace() for _, p in traces], of=2)
    events = sum(events_of(t) for t, _ in traces) / len(traces)
    most = max(most_possibilities(t, p) for t, p in traces)
    print(
        f"random boards, 10 stimuli, {events:.0f} events: {len(traces) / took:.0f} judged a second   aim 500   "
        f"({len(traces) / making:.0f} simulated a second)   most possibilities {most}"
    )


def growth(most_events: int) -> None:
    events = 1_000
    while events <= most_events:
        stand = steady(events, 0.6)
        trace = stand.trace()
        begun = time.process_time()
        findings = len(judge_trace(trace, stand.parameters).findings)
        took = time.process_time() - begun
        peak = ""
        if events <= 100_000:
            tracemalloc.start()
            judge_trace(trace, stand.parameters)
            peak = f"{tracemalloc.get_traced_memory()[1] / 1e6:8.1f} MB beside the trace"
            tracemalloc.stop()
        print(
            f"{events:>9} events {took:9.2f} s {1e6 * took / events:7.1f} us/event {findings:>8} findings {peak}",
            flush=True,
        )
        events *= 10


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--events", type=int, default=100_000)
    args = parser.parse_args()
    quarter_hour()
    boards_a_second()
    growth(args.events)


if __name__ == "__main__":
    main()
