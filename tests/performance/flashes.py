"""Flash codes with jitter, glitches, unknown phase and the mains in them: how many are read wrong, how many not at all.

    python -m tests.performance.flashes [PATTERNS] [SEED]

A pattern is one code, shown for some groups: each flash, gap and pause anew
within ±20 % of its nominal, pulses and gaps of up to 30 ms anywhere, begun
anywhere in the group, lit without or with the mains in it (full or half wave,
50 or 60 Hz).  Of a share of them the maker states no times, or only some.
The waveform is made here and shares nothing with the decoder.
"""

from __future__ import annotations

import random
import sys
from collections import Counter
from dataclasses import dataclass

from bench.judge.flashes import FlashDecoder, Shown, majority
from firmware_ref.parameters import Interval, Light, Mode

JITTER = 0.2
GLITCH_US = (500, 30_000)


@dataclass(frozen=True, slots=True)
class Pattern:
    """`edges`: (at us, lit); `lit`: at 0; the light is watched up to `end_us`."""

    code: str
    light: Light
    lit: bool
    edges: list[tuple[int, bool]]
    end_us: int
    kind: str


def around(nominal_us: int) -> Interval:
    return Interval(round(nominal_us * (1 - JITTER)), round(nominal_us * (1 + JITTER)))


def draw(chance: random.Random) -> Pattern:
    """One random pattern."""
    on_us, off_us = chance.randint(150_000, 600_000), chance.randint(150_000, 600_000)
    count = chance.choice([0, 0, *range(1, 10)])
    steady = count == 0 and chance.random() < 0.5
    code = ("steady" if steady else "dark") if count == 0 else "1 flash" if count == 1 else f"{count} flashes"
    others = {Mode.NORMAL: "steady", Mode.LEAK_ACTIVE: f"{max(2, chance.randint(1, 9))} flashes"}
    stated = chance.choice(["all", "all", "all", "none", "some"])
    # Gaps and pauses that are not stated must be told apart by their lengths alone.
    pause_us = round(off_us * chance.uniform(2.5 if stated == "all" else 3.2, 6))
    given = [stated == "all" or (stated == "some" and chance.random() < 0.5) for _ in range(3)]
    on, off, pause = (
        around(us) if g else None for us, g in zip((on_us, off_us, pause_us), given, strict=True)
    )
    light = Light({**others, Mode.POST_LEAK_HOLD: code}, on, off, pause, Interval(0, 2_000_000))
    spans: list[tuple[bool, int]] = []
    length_us = 0

    def add(lit: bool, us: int) -> None:
        nonlocal length_us
        length = round(us * chance.uniform(1 - JITTER, 1 + JITTER)) if count else us
        spans.append((lit, length))
        length_us += length

    if count == 0:
        add(steady, chance.randint(15_000_000, 25_000_000))
    groups = 0
    shown = 5 if stated == "all" else max(6, 26 // max(count, 1))
    while count and groups < shown:
        for n in range(count):
            add(True, on_us)
            add(False, off_us if n < count - 1 else pause_us)
        groups += 1
    start_us = chance.randint(0, length_us // (shown * 2)) if count else 0
    levels = _levels(spans, chance, length_us, start_us)
    chopped = chance.choice(["", "", "full", "half"])
    edges = _chopped(levels, chopped, chance) if chopped else levels
    inside = [(t - start_us, lit) for t, lit in edges if t > start_us]
    before = [lit for t, lit in edges if t <= start_us]
    return Pattern(code, light, before[-1], inside, length_us - start_us, f"{stated} {chopped}".strip())


def _levels(
    spans: list[tuple[bool, int]], chance: random.Random, length_us: int, start_us: int
) -> list[tuple[int, bool]]:
    """The level from each instant on, with glitches in it."""
    edges, at_us = [], 0
    for lit, span_us in spans:
        edges.append((at_us, lit))
        at_us += span_us
    glitches = sorted(
        (chance.randint(0, length_us), chance.randint(*GLITCH_US))
        for _ in range(round(length_us / 1e6 * chance.uniform(0, 0.5)))
    )
    for first_us, width_us in glitches:
        last_us = first_us + width_us
        before = [lit for t, lit in edges if t <= first_us][-1]
        after = [lit for t, lit in edges if t <= last_us][-1]
        edges = [e for e in edges if not first_us <= e[0] <= last_us]
        edges += [(first_us, not before), (last_us, after)]
        edges.sort()
    return edges


def _chopped(levels: list[tuple[int, bool]], wave: str, chance: random.Random) -> list[tuple[int, bool]]:
    """A lamp on the mains: while lit it comes and goes with each half cycle, or with each second one."""
    hz = chance.choice([50, 60])
    half_us = 1e6 / hz / 2
    period_us = half_us if wave == "full" else 2 * half_us
    blind_us, phase_us = chance.uniform(0.1, 0.35) * half_us / 2, chance.uniform(0, period_us)
    pieces = []
    for (t, lit), end in zip(levels, [*(t for t, _ in levels[1:]), levels[-1][0] + 30_000_000], strict=True):
        pieces += [(t, end)] if lit else []
    edges: list[tuple[int, bool]] = [(0, False)]
    for first_us, last_us in pieces:
        n = int((first_us - phase_us) // period_us)
        while phase_us + n * period_us < last_us:
            begin = max(first_us, round(phase_us + n * period_us + blind_us))
            end = min(last_us, round(phase_us + n * period_us + half_us - blind_us))
            if begin < end:
                edges += [(begin, True), (end, False)]
            n += 1
    return edges


def decode(pattern: Pattern) -> list[Shown]:
    """What the decoder makes of it."""
    decoder = FlashDecoder(pattern.light, pattern.lit, 0)
    shown = []
    for at_us, lit in pattern.edges:
        if at_us >= pattern.end_us:
            break
        shown += decoder.edge(lit, at_us)
    return shown + decoder.end(pattern.end_us)


def count(patterns: int, seed: int) -> tuple[Counter[str], list[tuple[int, Pattern, str | None]]]:
    """right, wrong, undecided; and which were not right."""
    totals: Counter[str] = Counter()
    bad = []
    for n in range(patterns):
        pattern = draw(random.Random(f"{seed}/{n}"))
        read = majority(decode(pattern))
        what = "right" if read == pattern.code else "undecided" if read is None else "wrong"
        totals[what] += 1
        if what != "right":
            bad.append((n, pattern, read))
    return totals, bad


def main() -> None:
    patterns = int(sys.argv[1]) if len(sys.argv) > 1 else 20_000
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 0
    totals, bad = count(patterns, seed)
    for n, pattern, read in bad[:40]:
        print(f"seed {seed}/{n} ({pattern.kind}): {pattern.code} read as {read}")
    print(
        f"{patterns} patterns: {totals['right']} right, {totals['wrong']} wrong, "
        f"{totals['undecided']} undecided ({100 * totals['undecided'] / patterns:.3f} %)"
    )


if __name__ == "__main__":
    main()
