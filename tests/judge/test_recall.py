"""The recall of the last fault, from what was pressed, the modes and what the light showed, all by hand."""

from __future__ import annotations

from dataclasses import replace

import pytest

from bench.judge.book import Book
from bench.judge.findings import Finding
from bench.judge.flashes import Shown
from bench.judge.gestures import Ask
from bench.judge.mode_log import ModeLog
from bench.judge.recall import judge_recalls, last_fault, recalls
from bench.judge.window import Limit, Stamp, Window
from firmware_ref.parameters import Mode
from tests.boards import S, buttoned_air_handler, buttoned_furnace

BOARD = buttoned_air_handler()
NORMAL, LEAK, HOLD, FAULT = Mode.NORMAL, Mode.LEAK_ACTIVE, Mode.POST_LEAK_HOLD, Mode.SENSOR_FAULT
#: A leak and its hold, then normal for good.
LEAKED = [(0, {Mode.START_UP}), (20, {NORMAL}), (40, {NORMAL, LEAK}), (44, {LEAK}), (60, {LEAK, HOLD}), (70, {HOLD}),
          (540, {HOLD, NORMAL}), (560, {NORMAL})]  # fmt: skip
ASKED_S, END_S = 600, 700


def log_of(modes, *asks: Ask) -> ModeLog:
    log = ModeLog()
    log._since = [at * S for at, _ in modes]
    log._modes = [frozenset(m) for _, m in modes]
    log._asked = {(a.press, a.action): a for a in asks}
    return log


def ask(at_s: float = ASKED_S, action: str = "recall", must: bool = True, press: int = 2) -> Ask:
    """Known by the board from `at_s` to 4 s later."""
    first = Stamp(round(at_s * S), 0)
    low, high = (Limit(round(t * S), 0, 0) for t in (at_s, at_s + 4))
    return Ask(action, Window(low, high, first), must, first.mid_us, press)


def groups(*told: tuple[float, str | None]) -> list[Shown]:
    return [Shown(round(at * S), round((at + 2) * S), code, round((at + 2.5) * S)) for at, code in told]


def judged(modes, seen, *asks: Ask, end_s: float = END_S) -> list[Finding]:
    assert BOARD.light is not None
    log = log_of(modes, *(asks or (ask(),)))
    return judge_recalls(seen, BOARD.light, log, Book(BOARD, 0, "guarded"), round(end_s * S))


@pytest.mark.parametrize("at_s", [600, 605, 610])
def test_the_last_faults_code_once_in_time_passes(at_s: float) -> None:
    """The board must know the gesture by 604, then come 5 s of latency and a pause of 1.4 s."""
    (found,) = judged(LEAKED, groups((at_s, "5 flashes")))
    assert (found.verdict, found.requirement, found.output) == ("pass", "recall", None)


@pytest.mark.parametrize(
    ("shown", "kind", "says"),
    [
        ((), "missing", "showed nothing, where leak-active is 5 flashes"),
        (((605, "4 flashes"),), "not-allowed", "recalled 4 flashes (the code of sensor-fault), where the last fault"),
        (((605, "3 flashes"),), "not-allowed", "recalled 3 flashes, where"),
        (((605, "5 flashes"), (610, "5 flashes")), "not-allowed", "2 times, where it is once"),
        (((612, "5 flashes"),), "too-late", "8.0 s after the board must have known the gesture; allowed within 6.4 s"),
    ],
)  # fmt: skip
def test_what_fails_and_what_it_is_called(shown, kind: str, says: str) -> None:
    (found,) = judged(LEAKED, groups(*shown))
    assert (found.verdict, found.kind) == ("fail", kind)
    assert says in found.text, found.text


def test_the_code_of_normal_that_the_recall_breaks_off_is_no_code_of_its_own(monkeypatch) -> None:
    """Normal shows 4 flashes here: one of them, then the recall."""
    assert BOARD.light is not None
    codes = {**BOARD.light.codes, NORMAL: "4 flashes"}
    monkeypatch.setattr(f"{__name__}.BOARD", replace(BOARD, light=replace(BOARD.light, codes=codes)))
    (found,) = judged(LEAKED, groups((600, "2 flashes"), (604, "5 flashes"), (612, "4 flashes")))
    assert (found.verdict, found.kind) == ("pass", None)
    (found,) = judged(LEAKED, groups((600, "2 flashes"), (604, "3 flashes"), (612, "4 flashes")))
    assert (found.verdict, found.kind) == ("fail", "not-allowed")
    (found,) = judged(LEAKED, groups((600, "2 flashes"), (612, "4 flashes")))
    assert (found.verdict, found.kind) == ("fail", "not-allowed")


def test_what_cannot_be_read_is_no_failure() -> None:
    (found,) = judged(LEAKED, groups((605, None)))
    assert found.verdict == "inconclusive"


@pytest.mark.parametrize(
    ("modes", "asks", "end_s"),
    [
        (LEAKED, (ask(must=False),), END_S),  # not surely made
        (LEAKED, (ask(),), 610),  # over before it had to be shown
        (LEAKED, (ask(), ask(612, press=4)), 628),  # another gesture in between
        ([*LEAKED, (606, {NORMAL, LEAK})], (ask(),), END_S),  # the mode may have changed
        ([(0, {Mode.START_UP}), (20, {NORMAL})], (ask(),), END_S),  # nobody knows what is stored
        ([*LEAKED, (580, {NORMAL, Mode.UNPOWERED}), (581, {NORMAL})], (ask(),), END_S),  # nor after a cut
    ],
)
def test_what_is_not_judged(modes, asks, end_s: float) -> None:
    assert judged(modes, [], *asks, end_s=end_s) == []


def test_right_after_the_hold_its_code_may_still_be_shown() -> None:
    assert judged(LEAKED, groups((562, "2 flashes")), ask(561)) == []


def test_cleared_faults_are_not_recalled() -> None:
    asks = (ask(570, "clear-faults", press=1), ask())
    (found,) = judged(LEAKED, [], *asks)
    assert found.verdict == "pass" and "cleared" in found.text
    (found,) = judged(LEAKED, groups((605, "5 flashes")), *asks)
    assert (found.verdict, found.kind) == ("fail", "not-allowed")
    unsure = (ask(570, "clear-faults", must=False, press=1), ask())
    assert judged(LEAKED, groups((605, "5 flashes")), *unsure) == []


def test_which_fault_was_the_last() -> None:
    lost = [(570, {NORMAL, FAULT}), (575, {FAULT}), (580, {FAULT, NORMAL}), (590, {NORMAL})]
    again = [(570, {NORMAL, LEAK}), (575, {LEAK})]
    either = [(50, {LEAK, FAULT}), (55, {LEAK})]  # a loss noticed within the leak
    at_us = ASKED_S * S
    assert last_fault(log_of(LEAKED), at_us) == {LEAK}
    assert last_fault(log_of([*LEAKED, *lost]), at_us) == {FAULT}
    assert last_fault(log_of([*LEAKED, *lost, (592, {NORMAL, LEAK}), (595, {LEAK})]), at_us) == {LEAK}
    assert last_fault(log_of(sorted([*LEAKED, *either], key=lambda m: m[0])), at_us) == {LEAK, FAULT}
    assert last_fault(log_of([*LEAKED, *again[:1], (574, {NORMAL})]), at_us) == {LEAK}
    assert last_fault(log_of(LEAKED), 41 * S) == {None, LEAK}


def test_only_a_board_that_has_both_button_and_light_can_be_asked() -> None:
    assert recalls(BOARD)
    assert not recalls(buttoned_furnace())
    assert BOARD.light is not None
    assert not recalls(replace(BOARD, light=replace(BOARD.light, latency=None)))
    steady = dict.fromkeys(Mode, "steady")
    assert not recalls(replace(BOARD, light=replace(BOARD.light, codes=steady)))
