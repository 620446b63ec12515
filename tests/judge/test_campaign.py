"""A seeded share of the campaigns of tests/performance/campaign.py, and what must not matter to the judge."""

from __future__ import annotations

import dataclasses
import functools
import random

from bench.judge.findings import Finding, Judgement
from bench.judge.judge import judge_trace
from bench.judge.live import LiveJudge
from bench.trace.records import Applied, Clock, Edge, End, Header, Note, Readback, Record, Snapshot, Trace
from firmware_ref.parameters import Parameters
from tests.judge.random_profiles import random_parameters
from tests.judge.random_runs import random_run
from tests.judge.stand import Stand
from tests.performance.campaign import Tally, one_good, one_lit, some

#: Shares small enough for every day; the whole campaigns run from one command.
SHARES = {"good": 240, "inside": 240, "faulty": 60}
METAMORPHIC = range(12)
#: Any input at all stays below this many possibilities.
MOST = 64


@functools.cache
def share(campaign: str) -> Tally:
    return some(campaign, range(SHARES[campaign]))


def test_a_good_board_is_never_failed():
    assert share("good").wrong == []


def test_good_boards_that_were_failed_once_are_not_again():
    """Lights at the end of a run, alarm contacts that wait for each other, losses unseen beside a level, buttons let go."""
    once = (
        7101982, 7118107, 7200119, 7218943, 7300963, 7307115, 7312771, 7314299, 7315595, 7317903, 7332295, 7404556,
        7407507, 7626187, 7717119, 7897619, 8000939, 8011891, 8011957, 8138502, 9022051, 9026779, 9332131,
    )  # fmt: skip
    lit = (9203405, 9212207, 9220314, 9221845, 9615482)
    tally = Tally()
    for seed in once:
        one_good(seed, tally)
    for seed in lit:
        one_lit(seed, tally)
    assert tally.wrong == []


def test_a_board_well_inside_its_limits_passes():
    assert share("inside").wrong == []


def test_findings_of_a_board_well_inside_its_limits_are_decided():
    counts = share("inside").findings
    assert counts["inconclusive"] <= 0.001 * sum(counts.values())


def test_a_fault_beyond_its_limit_is_found_under_its_name():
    assert share("faulty").wrong == []


def test_possibilities_stay_few():
    assert all(1 <= share(campaign).most <= MOST for campaign in SHARES)


def test_bounds_keep_to_the_aims():
    """25 ms for a pair of AC edges or a signal step and one, 80 ms for a hold of five minutes."""
    bounds = share("good").bounds
    assert all(bounds[name] <= 0.025 for name in ("follow", "trip", "loss", "power-up"))
    assert bounds["hold of 5 min"] <= 0.080


# -- what must not matter ---------------------------------------------------------------------------


def said(judgement: Judgement) -> list[tuple[object, ...]]:
    return [_all_but(f) for f in judgement.findings]


def _all_but(f: Finding, output: str | None = None) -> tuple[object, ...]:
    return (f.requirement, f.output, f.verdict, f.kind, f.count, f.also, round(f.at_s, 4), f.measured)


def runs(errors: bool = True) -> list[Stand]:
    return [random_run(random_parameters(f"same {n}"), n, steps=20, errors=errors) for n in METAMORPHIC]


def test_when_the_bench_polled_and_what_it_noted_does_not_matter():
    """A live judge that is told the time now and then, or never, says the same."""
    for stand in runs(errors=False):
        trace, rng = stand.trace(), random.Random(stand.seed)
        plain, polled = (LiveJudge(stand.parameters, trace.header) for _ in range(2))
        for record in trace.records:
            plain.feed(record)
            polled.feed(record)
            tick_us = _last_us(record)
            if tick_us is not None and rng.random() < 0.5:
                polled.advance(tick_us + rng.randint(0, 3_000))
        for live in (plain, polled):
            live.advance(stand.now_us + 60_000_000)
        assert [_all_but(f) for f in plain.findings] == [_all_but(f) for f in polled.findings]


def test_the_order_in_which_records_of_one_moment_are_written_does_not_matter():
    """Records whose stamps overlap may reach the trace either way round."""
    for stand in runs():
        trace = stand.trace()
        assert said(judge_trace(_swapped(trace, stand.seed), stand.parameters)) == said(
            judge_trace(trace, stand.parameters)
        )


def test_shifting_all_times_does_not_matter():
    for stand in runs(errors=False):
        trace = stand.trace()
        later = Trace(trace.header, tuple(_later(r, 5_000_000_011) for r in trace.records))
        assert said(judge_trace(later, stand.parameters)) == said(judge_trace(trace, stand.parameters))


def test_a_trace_cut_short_says_the_beginning_of_what_the_whole_says():
    """Up to what later evidence may still decide, a prefix has the findings of the whole."""
    for stand in runs(errors=False):
        trace = stand.trace()
        whole = judge_trace(trace, stand.parameters)
        cut = len(trace.records) * 2 // 3
        end_us = max((t for r in trace.records[:cut] if (t := _last_us(r)) is not None), default=0)
        short = Trace(trace.header, (*trace.records[:cut], End(end_us, "complete")))
        sure_s = (end_us - trace.records[0].tick_us) / 1e6 - 2  # the judge looks 1.5 s ahead
        early = [_all_but(f) for f in judge_trace(short, stand.parameters).findings if f.at_s < sure_s]
        assert set(early) <= {_all_but(f) for f in whole.findings}


def test_the_names_of_outputs_do_not_matter():
    for stand in runs():
        trace = stand.trace()
        names = {o.name: f"Q{n}" for n, o in enumerate(stand.parameters.outputs) if o.kind == "ac"}
        renamed = judge_trace(_renamed(trace, names), _with_names(stand.parameters, names))
        expected = [(r, names.get(o, o), *rest) for r, o, *rest in said(judge_trace(trace, stand.parameters))]
        assert said(renamed) == expected


def _last_us(record: Record) -> int | None:
    if isinstance(record, (Edge, Readback, Applied)):
        return record.latest_us
    return record.tick_us if isinstance(record, (Clock, End, Snapshot)) else None


def _later(record: Record, by_us: int) -> Record:
    if isinstance(record, (Edge, Readback, Applied)):
        return dataclasses.replace(
            record, earliest_us=record.earliest_us + by_us, latest_us=record.latest_us + by_us
        )
    if isinstance(record, Clock):
        return dataclasses.replace(record, tick_us=record.tick_us + by_us)
    assert isinstance(record, (Snapshot, End))
    return dataclasses.replace(record, tick_us=record.tick_us + by_us)


def _swapped(trace: Trace, seed: int) -> Trace:
    """Neighbouring edges of different channels whose stamps overlap change places; notes come between."""
    rng = random.Random(seed)
    records = list(trace.records)
    for i in range(1, len(records) - 1):
        a, b = records[i], records[i + 1]
        if isinstance(a, Edge) and isinstance(b, Edge) and a.ch != b.ch and b.earliest_us <= a.latest_us:
            records[i], records[i + 1] = b, a
        elif rng.random() < 0.1 and not isinstance(a, Applied):
            records[i : i + 1] = [a, Note(0, "a note")]
    return Trace(trace.header, tuple(records))


def _renamed(trace: Trace, names: dict[str, str]) -> Trace:
    channels = {f"out.{old}": f"out.{new}" for old, new in names.items()}

    def one(record: Record) -> Record:
        if isinstance(record, Edge) and record.ch in channels:
            return dataclasses.replace(record, ch=channels[record.ch])
        if isinstance(record, Snapshot):
            return dataclasses.replace(
                record, values={channels.get(c, c): v for c, v in record.values.items()}
            )
        return record

    header = Header(profile={}, profile_sha256="", wiring={}, clock=trace.header.clock)
    return Trace(header, tuple(one(r) for r in trace.records))


def _with_names(parameters: Parameters, names: dict[str, str]) -> Parameters:
    outputs = tuple(dataclasses.replace(o, name=names.get(o.name, o.name)) for o in parameters.outputs)
    return dataclasses.replace(parameters, outputs=outputs)
