"""A whole good run of the furnace board, by hand, and ways to spoil it."""

from __future__ import annotations

from collections.abc import Callable

from bench.trace.records import Value
from tests.boards import furnace
from tests.scripted import CLEAR, LEAK, Script

Timed = tuple[int, int, str, str, Value]
END_S = 680.0


def good_run() -> Script:
    """Calls pass; leak at 20 s, clear at 40 s (hold from 45 s); re-leak at 225 s, clear at 235 s
    (hold from 240 s to 600 s); sensor loss at 610 s, back at 630 s; leak at 640 s, loss at 650 s."""
    s = Script(furnace()).sensor(0.5, CLEAR).supply(1.0)
    s.call(2, Y=True).call(3, Y=False)
    s.call(15, Y=True).out(15.1, Y=True).call(16, W=True).out(16.1, W=True)
    s.call(17, G=True).out(17.1, G=True).call(18, G=False).out(18.1, G=False)
    s.call(18.5, Y=False).out(18.6, Y=False).call(19, W=False).out(19.1, W=False)
    s.call(19.5, Y=True, W=True).out(19.6, Y=True, W=True)
    s.sensor(20, LEAK).out(24, Y=False, W=False).out(24.05, G=True)
    s.call(30, Y=False).call(31, Y=True).call(32, W=False).call(33, W=True).call(34, G=True).call(35, G=False)
    s.sensor(40, CLEAR)
    s.call(50, Y=False).call(51, Y=True).call(52, W=False).call(53, W=True).call(54, G=True).call(55, G=False)
    s.sensor(225, LEAK).sensor(235, CLEAR)
    s.out(600, Y=True).out(600.1, W=True).out(600.2, G=False)
    s.sensor(610, "open").out(616, Y=False, W=False, G=True)
    s.sensor(630, CLEAR).out(635, Y=True, W=True, G=False)
    return s.sensor(640, LEAK).out(644, Y=False, W=False, G=True).sensor(650, "open")


def edit(script: Script, change: Callable[[Timed], Timed | None]) -> Script:
    """Every event of the script changed, or left out where `change` gives None."""
    script._timed = [new for old in script._timed if (new := change(old)) is not None]
    return script


def edges_between(first_s: float, last_s: float, event: Timed) -> bool:
    """Whether an event is an output's edge within a span."""
    return event[2] == "edge" and event[3].startswith("out.") and first_s * 1e6 <= event[0] <= last_s * 1e6


def shift_edges(script: Script, first_s: float, last_s: float, by_s: float) -> Script:
    return edit(
        script, lambda e: (e[0] + round(by_s * 1e6), *e[1:]) if edges_between(first_s, last_s, e) else e
    )  # fmt: skip


def drop_edges(script: Script, first_s: float, last_s: float) -> Script:
    return edit(script, lambda e: None if edges_between(first_s, last_s, e) else e)
