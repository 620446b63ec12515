"""What the decoder reads from edges, and that nothing else makes it read something."""

from __future__ import annotations

import os
import random
from dataclasses import replace

import pytest

from bench.judge.flashes import FlashDecoder, Shown, majority
from firmware_ref.parameters import Interval, Light, Mode
from tests.performance import flashes

MS = 1_000
STATED = (Interval(160 * MS, 240 * MS), Interval(160 * MS, 240 * MS), Interval(800 * MS, 1_200 * MS))


def light(times: tuple[Interval | None, Interval | None, Interval | None] = STATED) -> Light:
    codes: dict[Mode, str | None] = dict.fromkeys(Mode, "steady")
    return Light(codes | {Mode.LEAK_ACTIVE: "5 flashes"}, *times, latency=Interval(0, 1_000 * MS))


def read(spans_ms: list[int], lit: bool = False, of: Light | None = None) -> list[Shown]:
    """What is shown by a light that is dark (or lit) for the first span, then the other way, and so on."""
    decoder = FlashDecoder(of or light(), lit, 0)
    at_us, found = 0, []
    for span_ms in spans_ms[:-1]:
        at_us, lit = at_us + span_ms * MS, not lit
        found += decoder.edge(lit, at_us)
    return found + decoder.end(at_us + spans_ms[-1] * MS)


def codes(spans_ms: list[int], lit: bool = False, of: Light | None = None) -> list[str | None]:
    return [one.code for one in read(spans_ms, lit, of)]


def group(count: int, on: int = 200, off: int = 200, pause: int = 1_000) -> list[int]:
    return [on, off] * (count - 1) + [on, pause]


@pytest.mark.parametrize("count", range(1, 21))
def test_a_group_is_counted(count: int) -> None:
    word = "1 flash" if count == 1 else f"{count} flashes"
    assert codes([1_000, *group(count), *group(count)]) == [word, word]


def test_a_group_tells_when_it_began_ended_and_was_sure() -> None:
    (one,) = read([1_000, *group(2)])
    # A pause is told from a gap at the geometric mean of the longest gap and the shortest pause.
    assert one == (1_000 * MS, 1_600 * MS, "2 flashes", 1_600 * MS + 438_178)


def test_a_group_of_which_the_beginning_was_not_seen_is_left_out() -> None:
    assert codes([100, 200, 200, 1_000, *group(3)], lit=True) == ["3 flashes"]
    assert codes([200, 200, 1_000, *group(3)]) == ["3 flashes"]


def test_a_group_is_told_once_the_pause_behind_it_is_one() -> None:
    decoder = FlashDecoder(light(), False, 0)
    edges = [(True, 1_000), (False, 1_200), (True, 1_400), (False, 1_600)]
    assert [s for lit, ms in edges for s in decoder.edge(lit, ms * MS)] == []
    assert decoder.advance(2_030 * MS) == []
    assert [s.code for s in decoder.advance(2_040 * MS)] == ["2 flashes"]
    assert decoder.edge(True, 2_600 * MS) == []


def test_steady_and_dark() -> None:
    assert read([5_000], lit=True) == [(0, 5_000 * MS, "steady", 612 * MS)]
    assert read([5_000]) == [(0, 5_000 * MS, "dark", 1_440 * MS)]
    assert codes([5_000, 6_000, 7_000]) == ["dark", "steady", "dark"]


def test_what_lasts_is_told_while_it_lasts() -> None:
    decoder = FlashDecoder(light(), True, 0)
    decoder.advance(600 * MS)
    assert decoder.present is None
    decoder.advance(700 * MS)
    assert decoder.present == (0, 700 * MS, "steady", 612 * MS)


def test_a_lamp_on_the_mains_is_lit() -> None:
    half_wave = [6, 11] * 60  # a second at 60 Hz, each second half cycle
    pattern = [
        1_000,
        *half_wave[:23],
        200,
        *half_wave[:23],
        1_000,
        *half_wave[:23],
        200,
        *half_wave[:23],
        1_000,
    ]
    assert codes(pattern) == ["2 flashes", "2 flashes"]
    assert codes([*half_wave, 6], lit=True) == ["steady"]


@pytest.mark.parametrize("at", range(0, 2_600, 50))
@pytest.mark.parametrize("width", [1, 30, 60])
def test_a_glitch_anywhere_changes_nothing(at: int, width: int) -> None:
    spans = [1_000, *group(3), *group(3)]
    edges, lit, t = [], False, 0
    for span in spans:
        edges.append((t, lit))
        t, lit = t + span, not lit
    level = [lit for t, lit in edges if t <= at][-1]
    after = [lit for t, lit in edges if t <= at + width][-1]
    edges = sorted(
        [*(e for e in edges if not at <= e[0] <= at + width), (at, not level), (at + width, after)]
    )
    decoder = FlashDecoder(light(), False, 0)
    found = [s.code for t, lit in edges[1:] for s in decoder.edge(lit, t * MS)]
    found += [s.code for s in decoder.end(sum(spans) * MS)]
    assert found == ["3 flashes", "3 flashes"]


@pytest.mark.parametrize("lit", [True, False])
def test_a_glitch_does_not_end_a_steady_state(lit: bool) -> None:
    (one,) = read([3_000, 20, 3_000, 40, 3_000], lit)
    assert (one.from_us, one.to_us) == (0, 9_060 * MS)


def test_what_fits_no_flash_and_no_gap_is_undecided() -> None:
    assert codes([1_000, 200, 200, 450, 200, 200, 1_000]) == [None]  # a flash twice as long
    assert codes([1_000, 200, 77, 200, 1_000]) == [None]  # a gap of less than half the shortest


def test_times_that_the_maker_does_not_state_are_learnt() -> None:
    free = light((None, None, None))
    assert codes([1_000, *group(5), *group(5), *group(5)], of=free) == ["5 flashes"] * 3
    assert codes([1_000, *group(5), 200], of=free) == []  # one pause alone may be anything
    # Until many more gaps of one length were seen than a group has, they may be those of one group.
    single = replace(free, codes={**free.codes, Mode.NORMAL: "1 flash"})
    assert codes([1_000, *group(1) * 11], of=single) == []
    assert set(codes([1_000, *group(1) * 13], of=single)) == {"1 flash"}
    # Of three, each broken off by a change of mode, where no code is a single flash.
    assert codes([1_000, *group(1) * 16], of=free) == []
    assert set(codes([1_000, *group(1) * 18], of=free)) == {"1 flash"}


def test_a_first_gap_that_may_be_a_pause_does_not_hide_what_follows() -> None:
    free = light((STATED[0], None, None))
    assert codes([3_000, 20_000, 12_000], of=free) == ["steady", "dark"]


def test_a_steady_state_is_told_even_if_the_end_comes_within_two_glitches() -> None:
    assert codes([10_000, 66, 64], lit=True) == ["steady"]


def test_one_time_stated_is_enough() -> None:
    for times in ((None, STATED[1], None), (None, None, STATED[2])):
        assert codes([1_000, *group(4), *group(4)], of=light(times)) == ["4 flashes", "4 flashes"]


def test_majority() -> None:
    def some(*codes: str | None) -> list[Shown]:
        return [Shown(0, 0, code, 0) for code in codes]

    assert majority(some("3 flashes", "3 flashes")) == "3 flashes"
    assert majority(some("3 flashes")) is None
    assert majority(some("3 flashes", "2 flashes", "3 flashes", "2 flashes")) is None
    assert majority(some("steady")) == "steady"
    assert majority(some(None, None, "2 flashes", "2 flashes")) is None
    assert majority([]) is None


def test_a_stream_cut_anywhere_reads_the_same() -> None:
    """Between two edges the decoder may be told of the time as often as one likes."""
    for seed in range(20):
        pattern = flashes.draw(random.Random(f"cut {seed}"))
        rng = random.Random(seed)
        decoder = FlashDecoder(pattern.light, pattern.lit, 0)
        found, last_us = [], 0
        for at_us, lit in [e for e in pattern.edges if e[0] < pattern.end_us]:
            for moment in sorted(rng.randint(last_us, at_us) for _ in range(rng.randint(0, 3))):
                found += decoder.advance(moment)
            found += decoder.edge(lit, at_us)
            last_us = at_us
        found += decoder.end(pattern.end_us)
        whole = flashes.decode(pattern)
        assert [s[:3] for s in found] == [s[:3] for s in whole], seed


def test_random_patterns_are_never_read_wrong() -> None:
    """The long form: tests/performance/flashes.py."""
    patterns = 200 * int(os.environ.get("SEEDS", "1"))
    totals, bad = flashes.count(patterns, seed=5)
    assert totals["wrong"] == 0, bad[0][0]
    assert totals["undecided"] <= max(1, patterns // 1_000)
