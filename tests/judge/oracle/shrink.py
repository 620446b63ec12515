"""The smallest case that still shows what a predicate looks for (plain delta debugging)."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping

from tests.judge.oracle.decide import Case, consistent


def shrunk(case: Case, rests: Mapping[str, bool], shows: Callable[[Case], bool]) -> Case:
    """Take things away, and time out of the middle, as long as `shows` stays true."""
    while (smaller := next((c for c in _smaller(case, rests) if shows(c)), None)) is not None:
        case = smaller
    return case


def _smaller(case: Case, rests: Mapping[str, bool]) -> Iterator[Case]:
    """Every candidate has fewer stimuli or moves, or an earlier end, so this comes to its end."""
    for less in (5, 2, 1):
        end = case.end - less
        if end > 2:
            stimuli = tuple(s for s in case.stimuli if s.at <= end)
            yield Case(stimuli, tuple(m for m in case.moves if m[0] <= end), end)
    for n, stimulus in enumerate(case.stimuli):
        if stimulus.what != "supply":
            yield case._replace(stimuli=case.stimuli[:n] + case.stimuli[n + 1 :])
    cuts = [n for n, s in enumerate(case.stimuli) if s.what == "supply" and not s.value]
    for n in cuts:
        back = next((m for m in range(n + 1, len(case.stimuli)) if case.stimuli[m].what == "supply"), n)
        yield case._replace(stimuli=tuple(s for m, s in enumerate(case.stimuli) if m not in (n, back)))
    for n, one in enumerate(case.moves):
        for other in case.moves[n:]:
            kept = [m for m in case.moves if m not in (one, other)]
            yield case._replace(moves=consistent(kept, rests, case.end))
    for n, stimulus in enumerate(case.stimuli):
        since = stimulus.at
        if since - (case.stimuli[n - 1].at if n else 0) < 2 or any(m[0] == since - 1 for m in case.moves):
            continue
        later = tuple(s._replace(at=s.at - 1) for s in case.stimuli[n:])
        moves = tuple((t - (t >= since), name, on) for t, name, on in case.moves)
        yield Case(case.stimuli[:n] + later, moves, case.end - 1)
