"""One procedure on three boards: the simulated one, the firmware's core on this computer, and its image.

All take nominal timings.  The command runs each; what they did is compared
edge by edge, each edge by its distance from the stimulus that it answers.
"""

from __future__ import annotations

import random
from contextlib import nullcontext
from dataclasses import dataclass
from itertools import zip_longest
from pathlib import Path

from bench.judge import clock
from bench.trace.file import read_trace
from bench.trace.records import Clock, Edge, Readback, Voltage
from tests.cosim.command import in_the_circuit
from tests.end_to_end.command import run_board, sim
from tests.firmware_ref.board.judged import firmware

BOARDS = ("simulated", "core", "image")
PROFILES = ("invented-split-furnace", "invented-air-handler")
#: No edge of one board may be further than this from the same edge of another, in us.
MOST_US = 25_000
#: Which of the stimuli before an edge it may answer.
_LOOK_BACK = 8


def random_procedure(seed: int, steps: int = 10) -> str:
    """Stimuli by chance that all have one right answer: no level in a band, nothing near the end of a timer.

    No cut and no loss while a hold may run: from where it counts after the supply's return (the supply, the end of
    boot), and whether clear is counted while the sensor's return is, is the board's choice, and the simulated board
    and the firmware have made theirs differently.
    """
    chance = random.Random(f"{seed}/procedure")
    lines = [
        "format: mitbench-procedure-1",
        f"name: by-chance-{seed}",
        "about: Stimuli by chance.",
        "steps:",
        "  - sensor.1: clear",
        "  - {board: closed, main: closed}",
        "  - wait: {timer: warm_up, past: max}",
    ]
    calls = dict.fromkeys(("Y", "W", "G"), False)
    may_hold = False

    def wait(least: float, most: float) -> None:
        lines.append(f"  - wait: {round(chance.uniform(least, most) * 1000)} ms")

    for _ in range(steps):
        kind = chance.choice(["call"] * 5 + ["leak"] * 3 + ["short leak", "lost", "cut", "hold"])
        if kind == "hold" or (may_hold and kind in ("cut", "lost")):
            lines.append("  - wait: {timer: hold, past: max}")
        may_hold = kind in ("leak", "lost") or (may_hold and kind in ("call", "short leak"))
        if kind == "call":
            name = chance.choice(list(calls))
            calls[name] = not calls[name]
            lines.append(f"  - call.{name}: {'on' if calls[name] else 'off'}")
            wait(0.8, 4)
        elif kind == "short leak":
            lines.append("  - sensor.1: leak")
            wait(0.1, 0.6)
            lines.append("  - sensor.1: clear")
            wait(1, 3)
        elif kind == "cut":
            lines.append("  - main: open")
            wait(1.5, 7)
            lines.append("  - main: closed")
            wait(26, 30)
        elif kind == "lost":
            lines.append(f"  - sensor.1: {chance.choice(('open', 'short'))}")
            wait(13, 20)
            lines.append("  - sensor.1: clear")
            wait(16, 25)
        elif kind == "leak":
            lines.append("  - sensor.1: leak")
            wait(8, 15)
            lines.append("  - sensor.1: clear")
            wait(16, 60)
    return "\n".join(lines) + "\n"


@dataclass(frozen=True)
class Done:
    """What one board did.  All in true time, by the fit of its clock: `edges`: output -> (value, earliest, latest) in
    order; `stimuli`: (name, what, at)."""

    verdict: str
    reason: str
    failed: tuple[tuple[str, str | None], ...]
    edges: dict[str, list[tuple[str, int, int]]]
    stimuli: list[tuple[str, str, int]]


def carried_out(board: str, profile: str, procedure: Path, out: Path) -> Done:
    image = board == "image"
    url = f"cosim://?profile={profile}&nominal=1" if image else sim(draw="nominal", profile=profile)
    with in_the_circuit() if image else firmware() if board == "core" else nullcontext():
        answer = run_board(profile, url, out, "--procedure", str(procedure))
    judged = answer.plain
    edges: dict[str, list[tuple[str, int, int]]] = {}
    stimuli: list[tuple[str, str, int]] = []
    records = read_trace(Path(judged["trace"])).records
    fit = clock.fit([record for record in records if isinstance(record, Clock)])
    for record in records:
        if isinstance(record, Edge) and record.ch.startswith(("out.", "alarm.")):
            edges.setdefault(record.ch, []).append(
                (str(record.value), fit.true_us(record.earliest_us), fit.true_us(record.latest_us))
            )
        elif isinstance(record, Readback) and record.what == (
            "terminal" if record.ch.startswith("sensor") else "position"
        ):
            value = "volts" if isinstance(record.value, Voltage) else str(record.value)
            stimuli.append((record.ch, value, fit.true_us((record.earliest_us + record.latest_us) // 2)))
    # A sensor that comes back with its supply may be read back after the switch, though it was there before.
    stimuli.sort(key=lambda stimulus: stimulus[2])
    failed = tuple((f["requirement"], f["output"]) for f in answer.failed)
    return Done(judged["verdict"], judged["reason"], failed, edges, stimuli)


def furthest(one: Done, other: Done) -> tuple[int, list[str]]:
    """(greatest distance in us between the same edges, sentences about what differs by more than is allowed)."""
    wrong = []
    if (one.verdict, one.failed) != (other.verdict, other.failed):
        wrong.append(f"{one.verdict} {one.failed} and {other.verdict} {other.failed}: {other.reason}")
    if [s[:2] for s in one.stimuli] != [s[:2] for s in other.stimuli]:
        both = zip_longest(one.stimuli, other.stimuli, fillvalue=())
        first = next((a, b) for a, b in both if a[:2] != b[:2])
        return 0, [*wrong, f"the stimuli differ: {first}"]
    most = 0
    for name in sorted(one.edges.keys() | other.edges.keys()):
        ours, theirs = one.edges.get(name, []), other.edges.get(name, [])
        if [e[0] for e in ours] != [e[0] for e in theirs]:
            wrong.append(f"{name}: {len(ours)} edges and {len(theirs)}")
            continue
        for mine, its in zip(ours, theirs, strict=True):
            apart = _apart(one, other, mine, its)
            most = max(most, apart)
            if apart > MOST_US:
                wrong.append(f"{name} {mine[0]} at {mine[1] / 1e6:.3f} s: {apart / 1000:.1f} ms apart")
    return most, wrong


def _apart(one: Done, other: Done, mine: tuple[str, int, int], its: tuple[str, int, int]) -> int:
    """How far two edges surely are apart, each seen from the stimulus that makes this least.

    An edge is known to within its stamp, half a cycle of the supply at most.
    """
    middle, its_middle = (mine[1] + mine[2]) // 2, (its[1] + its[2]) // 2
    known_us = (mine[2] - mine[1] + its[2] - its[1]) // 2
    before = [n for n, stimulus in enumerate(one.stimuli) if stimulus[2] <= middle + MOST_US][-_LOOK_BACK:]
    apart = min(abs((middle - one.stimuli[n][2]) - (its_middle - other.stimuli[n][2])) for n in before)
    return max(0, apart - known_us)
