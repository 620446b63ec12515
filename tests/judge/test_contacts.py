"""The two alarm contacts against each other: break before make, from both edges with their bounds."""

from __future__ import annotations

from dataclasses import replace

import pytest

from bench.judge.book import Book
from bench.judge.contacts import judge_contacts
from bench.judge.events import Change
from bench.judge.findings import Finding
from bench.judge.window import Stamp
from bench.profile import load
from firmware_ref.alarm import are_watched
from firmware_ref.parameters import Mode, Parameters, Policy

PARAMETERS = load("invented-packaged-unit").parameters
GLITCH_US = PARAMETERS.timing.glitch_us
AT_REST = {"alarm.no": False, "alarm.nc": True}
HALF_US = 1_000


def judged(*moves: tuple[str, bool, int], decision: str = "guarded", **levels: bool) -> list[Finding]:
    """Moves of NO and NC: which, closed or open, and when in us."""
    book = Book(PARAMETERS, 0, decision)
    changes = [Change(f"alarm.{name}", on, Stamp(at_us, HALF_US)) for name, on, at_us in moves]
    start = AT_REST | {f"alarm.{name}": on for name, on in levels.items()}
    judge_contacts(changes, start, book, 0)
    return book.findings


T = 10_000_000


@pytest.mark.parametrize(
    ("together_us", "verdict"),
    [
        (-5_000, "pass"),
        (0, "pass"),
        (GLITCH_US - 3_000, "pass"),
        # Within the bound of the limit a good board may read so: never a fail.
        (GLITCH_US + 1_500, "inconclusive"),
        (GLITCH_US + 2 * HALF_US, "inconclusive"),
        (GLITCH_US + 2 * HALF_US + 1, "fail"),
        (300_000, "fail"),
    ],
)
def test_how_long_both_are_closed(together_us: int, verdict: str) -> None:
    for first, second in (("no", "nc"), ("nc", "no")):
        levels = {first: False, second: True}
        (finding,) = judged((first, True, T), (second, False, T + together_us), **levels)
        assert (finding.requirement, finding.output, finding.verdict) == ("contact", None, verdict)
        assert finding.measured == pytest.approx(together_us / 1e6)
        assert finding.limits == (None, GLITCH_US / 1e6)
        assert finding.kind == ("too-late" if verdict == "fail" else None)


def test_simple_lets_the_limit_decide() -> None:
    (finding,) = judged(("no", True, T), ("nc", False, T + GLITCH_US + 500), decision="simple")
    assert finding.verdict == "fail"


def test_every_change_over_is_judged() -> None:
    found = judged(("nc", False, T), ("no", True, T + 2_000), ("no", False, 2 * T), ("nc", True, 2 * T + 900))
    assert [f.text for f in found] == [
        "alarm.nc opened 2.0 ms before alarm.no closed; allowed together for 30 ms",
        "alarm.no opened 0.9 ms before alarm.nc closed; allowed together for 30 ms",
    ]


def test_closed_together_to_the_end_is_booked_where_the_contact_is_named_already() -> None:
    (alone,) = judged(("no", True, T))
    assert (alone.verdict, alone.kind) == ("fail", "not-allowed")
    book = Book(PARAMETERS, 0, "guarded")
    stuck = Finding("trip", "alarm.nc", "fail", 12.0, "", kind="missing")
    book.findings.append(stuck)
    judge_contacts([Change("alarm.no", True, Stamp(T, HALF_US))], AT_REST, book, 0)
    assert book.findings == [stuck] and stuck.also == ("contact",)


def test_a_board_that_may_close_both_is_not_judged() -> None:
    def changed(name: str, mode: Mode, policy: Policy) -> Parameters:
        outputs = tuple(
            replace(o, modes={**o.modes, mode: policy}) if o.name == name else o for o in PARAMETERS.outputs
        )
        return replace(PARAMETERS, outputs=outputs)

    assert are_watched(PARAMETERS)
    assert not are_watched(changed("alarm.no", Mode.START_UP, Policy.ON))
    assert are_watched(changed("alarm.nc", Mode.START_UP, Policy.OFF))
    assert not are_watched(replace(PARAMETERS, outputs=PARAMETERS.outputs[:-1]))
