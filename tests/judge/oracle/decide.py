"""Is a case explainable?  Keeps the set of all boards that could have shown what was seen."""

from __future__ import annotations

import random
from collections.abc import Mapping, Sequence
from typing import NamedTuple

from tests.judge.oracle.board import Rulebook, Unit


class Stimulus(NamedTuple):
    """At step `at`: a call or the supply (`value` on or off), or a sensor (`value`: what it may be read as)."""

    at: int
    what: str
    name: str
    value: object


class Case(NamedTuple):
    """Stimuli, moves of outputs (step, output, on) and the last step that was watched."""

    stimuli: tuple[Stimulus, ...]
    moves: tuple[tuple[int, str, bool], ...]
    end: int


def explainable(case: Case, book: Rulebook, remembering: bool = False) -> int | None:
    """None if some board could have done exactly this; else the step at which none is left.

    `remembering`: also one that came with something to remember.
    """
    names = [o.name for o in book.parameters.outputs]
    levels = [p.shown for p in book.initial()[0].pins]
    boards = set(book.initial(remembering))
    for now in range(case.end + 1):
        for at, name, on in case.moves:
            if at == now:
                levels[names.index(name)] = on
        after = tuple(levels)
        reached = instant(boards, [s for s in case.stimuli if s.at == now], book)
        seen = {u for u in reached if tuple(p.shown for p in u.pins) == after}
        boards = {v for u in seen if (v := book.ticked(u)) is not None}
        if not boards:
            return now
    return None


def instant(boards: set[Unit], stimuli: Sequence[Stimulus], book: Rulebook) -> set[Unit]:
    """All boards after this instant: stimuli and what boards do by themselves, in every order."""
    left = frozenset(range(len(stimuli)))
    seen = {(u, left) for u in boards}
    todo = list(seen)
    while todo:
        u, left = todo.pop()
        ways = [(v, left) for v in book.happenings(u)]
        for n in left:
            ways += [(v, left - {n}) for v in _stimulated(u, stimuli[n], book)]
        for way in ways:
            if way not in seen:
                seen.add(way)
                todo.append(way)
    return {u for u, left in seen if not left}


def _stimulated(u: Unit, stimulus: Stimulus, book: Rulebook) -> list[Unit]:
    if stimulus.what == "call":
        return [book.called(u, stimulus.name, bool(stimulus.value))]
    if stimulus.what == "sensor":
        return book.signalled(u, stimulus.name, frozenset(stimulus.value))  # type: ignore[call-overload]
    return book.supplied(u, bool(stimulus.value))


def play(stimuli: Sequence[Stimulus], end: int, book: Rulebook, rng: random.Random, haste: float) -> Case:
    """What one board, drawn at random among all, shows under these stimuli."""
    names = [o.name for o in book.parameters.outputs]
    for attempt in range(300):  # some do what nothing can follow, and all the more the hastier they are
        moves = _played(stimuli, end, book, rng, haste / (1 + attempt / 10))
        if moves is not None:
            return Case(tuple(stimuli), tuple((t, names[n], on) for t, n, on in moves), end)
    raise RuntimeError("no board found a way through")


def _played(
    stimuli: Sequence[Stimulus], end: int, book: Rulebook, rng: random.Random, haste: float
) -> list[tuple[int, int, bool]] | None:
    u = rng.choice(book.initial())
    moves: list[tuple[int, int, bool]] = []
    for now in range(end + 1):
        before = tuple(p.shown for p in u.pins)
        reached = instant({u}, [s for s in stimuli if s.at == now], book)
        good = sorted((v for v in reached if book.ticked(v) is not None), key=repr)
        if rng.random() < 0.8:  # few come on in the dark: most of what may come after forbids it
            good = [v for v in good if not any(p.stray for p in v.pins)] or good
        if not good:
            return None
        calm = [v for v in good if tuple(p.shown for p in v.pins) == before and v.mode is u.mode]
        u = rng.choice(calm if calm and rng.random() > haste else good)
        moves += [(now, n, p.shown) for n, p in enumerate(u.pins) if p.shown != before[n]]
        ticked = book.ticked(u)
        assert ticked is not None
        u = ticked
    return moves


def spoiled(case: Case, rests: Mapping[str, bool], rng: random.Random) -> tuple[str, Case]:
    """The same with one move of an output moved, dropped, added or swapped with another."""
    moves = list(case.moves)
    kind = rng.choice(("moved", "dropped", "added", "swapped") if moves else ("added",))
    if kind == "added":
        name, at = rng.choice(list(rests)), rng.randint(0, case.end)
        moves.append((at, name, True))
        if rng.random() < 0.7:
            moves.append((rng.randint(at + 1, case.end + 1), name, False))
    elif kind == "dropped":
        moves.pop(rng.randrange(len(moves)))
    elif kind == "moved":
        n = rng.randrange(len(moves))
        at, name, on = moves[n]
        moves[n] = (max(0, at + rng.choice((-3, -2, -1, -1, 1, 1, 2, 3))), name, on)
    else:
        n = rng.randrange(len(moves))
        at, name, on = moves[n]
        moves[n] = (at, rng.choice(list(rests)), on)
    return kind, case._replace(moves=consistent(moves, rests, case.end))


def consistent(
    moves: Sequence[tuple[int, str, bool]], rests: Mapping[str, bool], end: int
) -> tuple[tuple[int, str, bool], ...]:
    """In order of time, at most one a step and output, each output by turns on and off."""
    levels = dict(rests)
    kept: dict[tuple[int, str], tuple[int, str, bool]] = {}
    for at, name, _ in sorted(moves):
        if at <= end and (at, name) not in kept:
            levels[name] = not levels[name]
            kept[at, name] = (at, name, levels[name])
    return tuple(kept.values())
