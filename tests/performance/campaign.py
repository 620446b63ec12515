"""Many simulated boards under many stimuli, judged; prints what the judge said of them.

    python tests/performance/campaign.py good --boards 10000
    python tests/performance/campaign.py inside --boards 1000
    python tests/performance/campaign.py faulty --boards 1000
    python tests/performance/campaign.py good --show 1234

- `good`: boards that keep to their profile, values anywhere in the intervals, every bench
  error at up to its bound, random profiles, sequences that aim at open windows.  Nothing may fail.
- `lit`: the same boards, each with a light of any kind.
- `inside`: boards two bounds inside every limit of profiles wide enough to prove; 99.9 % of
  findings pass, nothing fails.
- `faulty`: one fault, at least two bounds beyond its limit, in the built-in acceptance; 99.5 %
  get a failed finding with the right requirement, none is left without a failed finding.

Seeds run from `--first`, so that shares of one campaign can be run apart and added up.
"""

from __future__ import annotations

import argparse
import gc
import multiprocessing
import os
import random
import sys
import time
from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from unittest.mock import patch

ROOT = Path(__file__).parent.parent.parent
sys.path.insert(0, str(ROOT))

from bench.judge import judge as judging  # noqa: E402
from bench.judge.findings import Finding  # noqa: E402
from bench.procedure.acceptance import acceptance  # noqa: E402
from bench.procedure.plan import plan  # noqa: E402
from bench.run.clock_watch import ClockWatch  # noqa: E402
from bench.run.executor import Executor  # noqa: E402
from bench.run.observer import Silent  # noqa: E402
from bench.simulated.faults import Fault, catalogue, default_size, parse  # noqa: E402
from bench.trace.records import Record, Trace  # noqa: E402
from firmware_ref.parameters import Mode, Parameters  # noqa: E402
from tests.boards import air_handler, furnace  # noqa: E402
from tests.judge.random_profiles import random_parameters, with_light  # noqa: E402
from tests.judge.random_runs import random_run  # noqa: E402
from tests.judge.shrink import described, shrink  # noqa: E402
from tests.judge.stand import Stand, StandBench  # noqa: E402

#: Numbers of random stimuli that seeds take in turn.
STEPS = (6, 10, 20, 40)
#: A judgement that takes longer than this many seconds is counted as stuck, where the system can tell.
STUCK_S = 10
#: One in so many boards is one of the two shipped ones.
_SHIPPED_EVERY = 10
#: One in so many has a light.
_LIT_EVERY = 3
#: What came of a fault: it made no difference at the terminals, its requirement failed, another did, none did.
CAME = ("unseen", "right", "other", "none")
_BATCH = 50


@dataclass
class Tally:
    """What came of some boards; adds up."""

    boards: int = 0
    findings: Counter[str] = field(default_factory=Counter)
    verdicts: Counter[str] = field(default_factory=Counter)
    reasons: Counter[str] = field(default_factory=Counter)
    wrong: list[tuple[int, str]] = field(default_factory=list)
    faults: Counter[tuple[str, str]] = field(default_factory=Counter)
    bounds: dict[str, float] = field(default_factory=dict)
    most: int = 0
    board_s: float = 0.0
    simulating_s: float = 0.0
    judging_s: float = 0.0

    def add(self, other: Tally) -> None:
        self.boards += other.boards
        self.findings += other.findings
        self.verdicts += other.verdicts
        self.reasons += other.reasons
        self.faults += other.faults
        self.wrong += other.wrong
        self.most = max(self.most, other.most)
        for name, bound in other.bounds.items():
            self.bounds[name] = max(self.bounds.get(name, 0.0), bound)
        self.board_s += other.board_s
        self.simulating_s += other.simulating_s
        self.judging_s += other.judging_s


class Stuck(Exception):
    """A judgement took longer than `STUCK_S`."""


def parameters_of(seed: int, wide: bool, usual: bool = False) -> Parameters:
    if seed % _SHIPPED_EVERY == 0:
        parameters = (furnace, air_handler)[seed // _SHIPPED_EVERY % 2]()
    else:
        parameters = random_parameters(seed, wide, usual)
    return with_light(parameters, seed) if seed % _LIT_EVERY == 1 else parameters


def judged(trace: Trace, parameters: Parameters, tally: Tally) -> list[Finding]:
    """The findings of one trace; possibilities, bounds and time go into the tally."""
    cases: list[judging.Case] = []
    open_case = judging.open_case

    def opened(*what: Any) -> judging.Case:
        cases.append(open_case(*what))
        return cases[-1]

    begun = time.perf_counter()
    try:
        with patch.object(judging, "open_case", opened):
            judgement = _in_time(lambda: judging.judge_trace(trace, parameters))
    finally:
        tally.judging_s += time.perf_counter() - begun
    tally.most = max([tally.most, *(case.tracker.most for case in cases)])
    tally.verdicts[judgement.verdict] += 1
    if judgement.verdict == "inconclusive":
        tally.reasons[judgement.reason.partition(":")[0]] += 1
    tally.board_s += judgement.board_seconds
    for finding in judgement.findings:
        tally.findings[finding.verdict] += 1
        if finding.bound is not None and finding.unit == "s":
            name = finding.requirement
            tally.bounds[name] = max(tally.bounds.get(name, 0.0), finding.bound)
            if name == "hold" and finding.measured is not None and finding.measured > 250:
                five_min = finding.bound * min(1.0, 300 / finding.measured)
                tally.bounds["hold of 5 min"] = max(tally.bounds.get("hold of 5 min", 0.0), five_min)
    return list(judgement.findings)


def _in_time(act: Callable[[], judging.Judgement]) -> judging.Judgement:
    """Raises Stuck where the judge does not come to an end; on systems without alarms it waits."""
    import signal

    if not hasattr(signal, "SIGALRM"):
        return act()

    def stuck(*_: object) -> None:
        raise Stuck(f"no judgement within {STUCK_S} s")

    before = signal.signal(signal.SIGALRM, stuck)
    signal.alarm(STUCK_S)
    try:
        return act()
    finally:
        signal.alarm(0)
        signal.signal(signal.SIGALRM, before)


# -- the three campaigns --------------------------------------------------------------------------


def good_stand(seed: int) -> Stand:
    return random_run(parameters_of(seed, wide=False), seed, "anywhere", STEPS[seed % len(STEPS)])


def inside_stand(seed: int) -> Stand:
    return random_run(parameters_of(seed, wide=True), seed, "inside", STEPS[seed % len(STEPS)])


def one_good(seed: int, tally: Tally, stand_of: Callable[[int], Stand] = good_stand) -> None:
    begun = time.perf_counter()
    stand = stand_of(seed)
    trace = stand.trace()
    tally.simulating_s += time.perf_counter() - begun
    failed = [f for f in judged(trace, stand.parameters, tally) if f.verdict == "fail"]
    if failed:
        tally.wrong.append((seed, f"{failed[0].requirement} {failed[0].kind}: {failed[0].text}"))


def lit_stand(seed: int) -> Stand:
    parameters = with_light(parameters_of(seed, wide=False), seed)
    return random_run(parameters, seed, "anywhere", STEPS[seed % len(STEPS)])


def one_lit(seed: int, tally: Tally) -> None:
    one_good(seed, tally, lit_stand)


def one_inside(seed: int, tally: Tally) -> None:
    one_good(seed, tally, inside_stand)


def faulty_case(seed: int) -> tuple[Parameters, Fault, tuple[str, str | None, str]]:
    """A profile and one of its faults, of a size from two to ten bounds beyond the limit."""
    rng = random.Random(f"fault {seed}")
    parameters = parameters_of(seed, wide=True, usual=True)
    # These need a source that sags, and calls whose voltage is read back; tests/end_to_end has them.
    electrical = ("loads-supply", "feeds-back")
    entries = [e for e in catalogue(parameters) if e.kind == "board" and not e.name.startswith(electrical)]
    entry = rng.choice(entries)
    fault = parse(entry.name, parameters)
    usual = default_size(fault.name, parameters)
    if usual is not None:
        fault = Fault(fault.name, fault.where, round(usual / 3 * rng.uniform(2, 10)))
    assert entry.expected is not None
    return parameters, fault, entry.expected


def faulty_stand(seed: int, healthy: bool = False) -> Stand:
    """The board with its fault, or `healthy` the same one without, in the acceptance."""
    parameters, fault, _ = faulty_case(seed)
    stand = Stand(parameters, seed, "inside", () if healthy else (fault,))
    stand.outage = True
    carry_out_acceptance(stand)
    return stand


def carry_out_acceptance(stand: Stand) -> None:
    bench = StandBench(stand)
    ignore: Callable[[Record], None] = lambda record: None  # noqa: E731
    executor = Executor(
        bench, stand.parameters, bench.start(), write=ignore, observer=Silent(), stop=lambda: False,
        clock=ClockWatch(None), poll_us=3_600_000_000,
    )  # fmt: skip
    executor.run(plan(acceptance(stand.parameters), stand.parameters))


def one_faulty(seed: int, tally: Tally) -> None:
    _, fault, expected = faulty_case(seed)
    begun = time.perf_counter()
    stand = faulty_stand(seed)
    trace = stand.trace()
    tally.simulating_s += time.perf_counter() - begun
    failed = [f for f in judged(trace, stand.parameters, tally) if f.verdict == "fail"]
    named = {f.requirement for f in failed} | {also for f in failed for also in f.also}
    blamed = {f.output for f in failed} & set(fault.where)  # whichever mode showed it first
    names = {expected[0]}
    if fault.name == "trip-high" and stand.parameters.sensors[0].kind != "analog":
        names |= {"re-leak", "hold"}  # another sensor than the first one misses its leak, in the hold
    if fault.name == "reboots" and _restarted_alone(stand):
        names.add("follow")  # all that a single output's fall tells
    came = "right" if names & named or blamed else "other" if failed else "none"
    if came == "none" and _did_the_same(
        stand, faulty_stand(seed, healthy=True), timed=fault.size is not None
    ):
        came = "unseen"  # the board did nothing that a good one does not do
    tally.faults[fault.name, came] += 1
    if came not in ("right", "unseen"):
        said = ", ".join(f"{f.requirement} {f.output} {f.kind}" for f in failed[:3]) or "nothing"
        tally.wrong.append(
            (seed, f"{fault.name} {fault.where} {fault.size}: expected {expected}, failed: {said}")
        )


def _did_the_same(one: Stand, other: Stand, timed: bool) -> bool:
    """Whether both boards did the same; unless `timed`, went through the same modes at whatever times."""
    if timed:
        return one.reported() == other.reported()
    return [m for _, _, m in one.modes] == [m for _, _, m in other.modes]


def _restarted_alone(stand: Stand) -> bool:
    """Whether the board's restart moved no more than one output, or the run ended with it."""
    edges = [(t, ch) for t, ch, _ in stand.seen if ch.startswith(("out.", "alarm."))]
    cuts = [t for t, ch, value in stand.seen if ch == "sense.board" and value == "off"]
    began = next(
        (
            t for t, _, mode in stand.modes
            if mode == Mode.UNPOWERED.value and not any(cut <= t < cut + 500_000 for cut in cuts)
        ),
        None,
    )  # fmt: skip
    if began is None:  # it came with a cut, and shows as one that was not ridden through
        return False
    together = {ch for t, ch in edges if abs(t - began) < 50_000}
    return len(together) < 2 or stand.now_us - began < 1_500_000


CAMPAIGNS: dict[str, Callable[[int, Tally], None]] = {
    "good": one_good, "lit": one_lit, "inside": one_inside, "faulty": one_faulty,
}  # fmt: skip
_STANDS = {
    "good": (good_stand, "anywhere"),
    "lit": (lit_stand, "anywhere"),
    "inside": (inside_stand, "inside"),
    "faulty": (faulty_stand, "inside"),
}


def some(campaign: str, seeds: Iterable[int]) -> Tally:
    """Run these seeds; an error or a judge that is stuck counts as wrong."""
    tally = Tally()
    for seed in seeds:
        tally.boards += 1
        try:
            CAMPAIGNS[campaign](seed, tally)
        except Exception as e:
            tally.wrong.append((seed, f"{type(e).__name__}: {e}"))
    return tally


def _batch(work: tuple[str, range]) -> Tally:
    """One batch; what refers to itself is swept up once after it, not all the time."""
    gc.disable()
    try:
        return some(*work)
    finally:
        gc.collect()


def show(campaign: str, seed: int) -> None:
    """The run of one seed made short, as long as the same requirement fails (good boards) or nothing does."""
    stand_of, draw = _STANDS[campaign]
    stand = stand_of(seed)
    if campaign != "faulty":
        first = next((f for f in stand.judge().findings if f.verdict == "fail"), None)
        if first is not None:
            wrong = first.requirement

            def fails(other: Stand) -> bool:
                return any(f.verdict == "fail" and f.requirement == wrong for f in other.judge().findings)

            stand = shrink(stand, seed, draw, fails)
    print(described(stand))


# -- what is printed ------------------------------------------------------------------------------


def table(campaign: str, tally: Tally, wall_s: float, processes: int) -> str:
    lines = [f"campaign {campaign}: {tally.boards} boards, {tally.board_s / 3600:.1f} h of board time"]
    total = sum(tally.findings.values())
    for verdict in ("pass", "inconclusive", "fail"):
        count = tally.findings[verdict]
        lines.append(f"  findings {verdict:<14}{count:>10}  {100 * count / max(1, total):8.4f} %")
    for verdict, count in tally.verdicts.most_common():
        lines.append(f"  boards {verdict:<16}{count:>10}  {100 * count / tally.boards:8.4f} %")
    lines += [f"    inconclusive: {reason}: {n}" for reason, n in tally.reasons.most_common()]
    if tally.faults:
        lines.append(f"  {'fault':<22}{'boards':>8}{'unseen':>8}{'right':>10}{'other':>8}{'none':>8}")
        for name in sorted({name for name, _ in tally.faults}):
            lines.append(_fault_line(name, [tally.faults[name, came] for came in CAME]))
        sums = [sum(n for (_, c), n in tally.faults.items() if c == came) for came in CAME]
        lines.append(_fault_line("all", sums))
    lines.append(
        "  widest bounds: " + ", ".join(f"{n} {1e3 * b:.1f} ms" for n, b in sorted(tally.bounds.items()))
    )
    lines.append(f"  most possibilities at once: {tally.most}")
    busy = tally.simulating_s + tally.judging_s
    lines.append(
        f"  a board: {1e3 * tally.simulating_s / tally.boards:.2f} ms simulating, "
        f"{1e3 * tally.judging_s / tally.boards:.2f} ms judging; {tally.boards / busy:.0f} boards/s a core; "
        f"{wall_s:.0f} s with {processes} processes"
    )
    lines.append(f"  wrong: {len(tally.wrong)} of {tally.boards}")
    return "\n".join(lines)


def _fault_line(name: str, counts: list[int]) -> str:
    unseen, right, other, none = counts
    shown = right + other + none
    return (
        f"  {name:<22}{shown + unseen:>8}{unseen:>8}{100 * right / max(1, shown):>8.2f} %{other:>8}{none:>8}"
    )


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("campaign", choices=CAMPAIGNS)
    parser.add_argument("--boards", type=int, default=1000, help="how many seeds")
    parser.add_argument("--first", type=int, default=0, help="the first seed")
    parser.add_argument("--processes", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--list", type=int, default=20, help="print at most so many seeds that went wrong")
    parser.add_argument("--show", type=int, metavar="SEED", help="print one seed's run, made short")
    args = parser.parse_args()
    if args.show is not None:
        show(args.campaign, args.show)
        return 0
    seeds = range(args.first, args.first + args.boards)
    batches = [(args.campaign, seeds[i : i + _BATCH]) for i in range(0, len(seeds), _BATCH)]
    tally = Tally()
    gc.freeze()
    begun = time.perf_counter()
    with multiprocessing.Pool(args.processes) as pool:
        for part in pool.imap_unordered(_batch, batches):
            tally.add(part)
    print(table(args.campaign, tally, time.perf_counter() - begun, args.processes))
    for seed, what in sorted(tally.wrong)[: args.list]:
        print(f"    seed {seed}: {what}")
    return 1 if tally.wrong else 0


if __name__ == "__main__":
    sys.exit(main())
