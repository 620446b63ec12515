"""What AC sensing makes of a terminal: each interval contains the first edge of the change it stands for."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from bench.simulated.mains import BOUNCE_US, LOOK_US, AcInput, ContactInput, Mains, Seen

#: An AC edge's half-width must not be more (hardware/channels.csv).
HALF_WIDTH_US = 2_500


@st.composite
def mains(draw: st.DrawFn) -> Mains:
    return Mains(draw(st.sampled_from((50, 60))), draw(st.floats(18.0, 30.0)), draw(st.floats(0.0, 10_000.0)))


@st.composite
def changes(draw: st.DrawFn) -> list[list[int]]:
    """Instants of moves, each with those of its bounce behind it; on and off take turns."""
    at_us, found = draw(st.integers(50_000, 70_000)), []
    for _ in range(draw(st.integers(1, 5))):
        bounces = draw(st.lists(st.integers(1, BOUNCE_US - 1), max_size=4, unique=True).map(sorted))
        found.append([at_us] + [at_us + b for b in bounces[: len(bounces) // 2 * 2]])
        at_us += draw(st.integers(40_000, 90_000))
    return found


def played(one: AcInput | ContactInput, moves: list[int], until_us: int) -> list[Seen]:
    """Put moves in, in order of time, and take out what is seen when it is due."""
    seen: list[Seen] = []

    def run(to_us: int) -> None:
        while (due := one.due_us()) is not None and due <= to_us:
            found = one.fire(due)
            assert found is not None
            assert found.latest_us <= due, "an event is told after it happened"
            seen.append(found)

    for at_us in moves:
        run(at_us)
        one.put(not one.on, at_us)
    run(until_us)
    return seen


@given(mains(), changes())
def test_every_interval_contains_the_first_edge_and_none_is_too_wide(
    source: Mains, moved: list[list[int]]
) -> None:
    seen = played(AcInput(source), [t for group in moved for t in group], moved[-1][-1] + 100_000)
    assert [s.on for s in seen] == [n % 2 == 0 for n in range(len(moved))]
    for one, group in zip(seen, moved, strict=True):
        assert one.earliest_us <= group[0] <= one.latest_us
        assert one.latest_us - one.earliest_us <= 2 * HALF_WIDTH_US


@given(mains(), st.integers(50_000, 70_000), st.integers(1, 100_000))
def test_no_pulse_is_seen_wrongly(source: Mains, at_us: int, width_us: int) -> None:
    """A lone pulse is seen or not; if it is, both its edges are where they were."""
    seen = played(AcInput(source), [at_us, at_us + width_us], at_us + width_us + 100_000)
    assert len(seen) in (0, 2)
    if width_us > source.half_us:
        assert len(seen) == 2
    if seen:
        on, off = seen
        assert on.earliest_us <= at_us <= on.latest_us
        assert off.earliest_us <= at_us + width_us <= off.latest_us


@given(mains(), st.integers(50_000, 70_000), st.integers(1, 5_000))
def test_a_gap_shorter_than_half_a_cycle_is_bridged_or_lost_in_a_blind_gap(
    source: Mains, at_us: int, gap_us: int
) -> None:
    one = AcInput(source, on=True)
    seen = played(one, [at_us, at_us + gap_us], at_us + 200_000)
    assert one.shown
    assert len(seen) in (0, 2)
    if gap_us < source.half_us - source.gap_us:
        assert seen == []


def test_a_source_that_stays_on_is_never_due() -> None:
    one = AcInput(Mains(60, 24.0), on=True)
    assert one.due_us() is None
    assert one.fire(10**9) is None


@given(changes())
def test_a_contact_shows_every_edge(moved: list[list[int]]) -> None:
    moves = [t for group in moved for t in group]
    seen = played(ContactInput(on=False), moves, moves[-1] + 1)
    assert [s.latest_us for s in seen] == moves
    assert {s.latest_us - s.earliest_us for s in seen} == {LOOK_US}
