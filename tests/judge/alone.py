"""Whether a board that breaks nothing but one requirement could have shown a sequence.

A sequence may be shown by boards of more than one single fault: one whose
trip is late and one whose warm-up is early may do the same at the terminals,
and then nobody can tell which of them it was.  So the profile is loosened in
what one requirement says, as far as it goes (a limit that is not stated, a
rule to which any answer is right, another policy of one output in one mode),
and the oracle, which knows nothing of the judge, says whether a board that
keeps to all the rest explains the sequence.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from itertools import product
from typing import Any

from bench.judge.findings import Finding
from firmware_ref.parameters import MITIGATING, Interval, Mode, Output, Parameters, Policy, Restart
from tests.judge.flawed import STEP_US
from tests.judge.oracle.board import Rulebook
from tests.judge.oracle.decide import Case, Stimulus, explainable

#: Longer than any run.
_EVER = Interval(0, 100 * STEP_US)


def boards(p: Parameters, requirement: str, output: str | None) -> Iterator[Parameters]:
    """The profile with all that this requirement (of `output`, or of the board) says taken out of it."""
    outputs = [o for o in p.outputs if output in (None, o.name)]
    if requirement in ("trip", "re-leak"):
        yield _total(p, "trip", [o.name for o in p.outputs], general=True)
        yield _total(p, "trip", [o.name for o in outputs])
    elif requirement in ("loss", "latch"):
        yield _total(p, "loss", [o.name for o in p.outputs], general=True)
        yield _total(p, "loss", [o.name for o in outputs])
        yield _rules(p, latching=None)
        yield from _otherwise(p, outputs, Mode.SENSOR_FAULT)
    elif requirement in ("clear", "hold", "kept-on-loss", "release"):
        yield _timing(p, clear=None)
        yield _timing(p, hold=None)
        yield _timing(_rules(p, hold_on_band=None, hold_when_lost=None, hold_ends_only_when=None), hold=None)
        yield from (_changed(p, o, react_on=_EVER, react_off=_EVER) for o in outputs)
    elif requirement == "return":
        yield _timing(p, return_=None)
        yield _rules(p, return_only_when=None)
    elif requirement == "power-up":
        yield _timing(p, warm_up=_EVER)
        yield _timing(p, boot=_EVER)
        yield _rules(p, check_before_normal=False)
        yield from (_changed(p, o, react_on=_EVER, react_off=_EVER) for o in outputs)
        yield from _otherwise(p, outputs, Mode.START_UP)
    elif requirement == "follow":
        yield from (_changed(p, o, follow_on=_EVER, follow_off=_EVER) for o in outputs)
        yield from _otherwise(p, outputs, Mode.NORMAL)
    elif requirement in ("blocked", "forced"):
        yield from _otherwise(p, outputs, *MITIGATING)
    elif requirement == "restart":
        for o in outputs:
            if o.restart is not None:
                yield _changed(p, o, restart=None)
                yield _changed(p, o, restart=Restart(o.restart.after, _EVER))
    elif requirement == "supply":
        yield _timing(_rules(p, after_supply_loss=None), ride_through=None)


def _timing(p: Parameters, **spans: Interval | None) -> Parameters:
    return dataclasses.replace(p, timing=dataclasses.replace(p.timing, **spans))  # type: ignore[arg-type]


def _rules(p: Parameters, **rules: object) -> Parameters:
    return dataclasses.replace(p, rules=dataclasses.replace(p.rules, **rules))  # type: ignore[arg-type]


def _changed(p: Parameters, output: Output, **parts: Any) -> Parameters:
    changed = dataclasses.replace(output, **parts)
    return dataclasses.replace(p, outputs=tuple(changed if o.name == output.name else o for o in p.outputs))


def _total(p: Parameters, name: str, outputs: list[str], general: bool = False) -> Parameters:
    for output in p.outputs:
        if output.name in outputs:
            p = _changed(p, output, **{name: None})
    return _timing(p, **{name: None}) if general else p


def _otherwise(p: Parameters, outputs: list[Output], *modes: Mode) -> Iterator[Parameters]:
    """One of these outputs with other policies in these modes."""
    for output in outputs:
        kinds = [Policy.OFF]
        kinds += [Policy.FOLLOW] if output.call else []
        kinds += [Policy.ON] if output.feed != "call" else []
        for policies in product(kinds, repeat=len(modes)):
            yield _changed(p, output, modes={**output.modes, **dict(zip(modes, policies, strict=True))})


def restarted(case: Case, p: Parameters, step: int) -> Iterator[tuple[Case, Parameters]]:
    """The sequence with a cut that nobody made at one instant about `step`, and the profile of a board that it resets."""
    built = _timing(p, ride_through=None)
    for at in range(max(0, step - 2), min(step + 1, case.end) + 1):
        cut = (Stimulus(at, "supply", "", False), Stimulus(at, "supply", "", True))
        stimuli = sorted((*case.stimuli, *cut), key=lambda s: s.at)
        yield case._replace(stimuli=tuple(stimuli)), built


def explains(case: Case, p: Parameters, finding: Finding) -> bool:
    """Whether a board that breaks only what the finding names could have shown this case."""
    built = [(case, q) for q in boards(p, finding.requirement, finding.output)]
    if finding.requirement == "supply":
        built += restarted(case, p, round(finding.at_s))
    return any(explainable(c, Rulebook(q, STEP_US), remembering=True) is None for c, q in built)
