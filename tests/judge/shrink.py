"""A failing run made short: outputs, stimuli and errors are left out as long as it still fails."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterator

from bench.simulated.faults import Fault
from firmware_ref.parameters import Interval, Parameters
from tests.judge.stand import Stand


def shrink(
    stand: Stand, seed: int, draw: str, fails: Callable[[Stand], bool], faults: tuple[Fault, ...] = ()
) -> Stand:
    """The shortest run found of the same board for which `fails` still holds."""

    def again(parameters: Parameters, script: list, end_us: int, errors: bool) -> Stand | None:
        fresh = Stand(parameters, seed, draw, faults, errors)
        fresh.outage = stand.outage
        try:
            fresh.do(script, end_us)
        except (KeyError, ValueError):
            return None
        return fresh if fails(fresh) else None

    best = stand
    exact = again(best.parameters, best.script, best.now_us, False)
    best = exact or best
    smaller = True
    while smaller:
        smaller = False
        for parameters, script, end_us in _smaller(best):
            found = again(parameters, script, end_us, best.errors)
            if found is not None:
                best, smaller = found, True
                break
    return best


def _smaller(stand: Stand) -> Iterator[tuple[Parameters, list, int]]:
    p, script, end_us = stand.parameters, stand.script, stand.now_us
    for n in reversed(range(len(script))):
        yield p, script[:n], script[n][0]
    for output in p.outputs:
        if len(p.outputs) > 1:
            yield (
                dataclasses.replace(p, outputs=tuple(o for o in p.outputs if o is not output)),
                script,
                end_us,
            )
    for n in reversed(range(len(script))):
        yield p, script[:n] + script[n + 1 :], end_us


def described(stand: Stand) -> str:
    """Profile, stimuli and edges in a few lines, times in true seconds."""
    p, t = stand.parameters, stand.parameters.timing
    lines = [
        f"seed board {stand.seed}, draw {stand.draw}, errors {stand.errors}, outage {stand.outage}",
        f"  {p.rules}",
    ]
    names = ("boot", "warm_up", "trip", "clear", "hold", "loss", "return_", "ride_through")
    lines.append(
        "  " + ", ".join(f"{n} {_span(getattr(t, n))}" for n in names) + f", glitch {t.glitch_us / 1e6}"
    )
    for o in p.outputs:
        modes = " ".join(f"{m.value}={q.value}" for m, q in o.modes.items())
        lines.append(
            f"  {o.name}: {o.kind} feed {o.feed} call {o.call}; {modes}; follow {_span(o.follow_on)} {_span(o.follow_off)} "
            f"react {_span(o.react_on)} {_span(o.react_off)} trip {_span(o.trip)} loss {_span(o.loss)} restart "
            f"{o.restart and (sorted(o.restart.after), _span(o.restart.delay))}"
        )
    for s in p.sensors:
        bands = (
            "" if s.trip is None or s.clear is None else f" trip {s.trip} clear {s.clear} rising {s.rising}"
        )
        lines.append(f"  sensor {s.name}: {s.kind} lost by {sorted(s.lost_by)}{bands}")
    lines.append(f"  board: {stand.board._traits}")
    lines += [f"  {t_us / 1e6:11.4f} {ch} {_value(value)}" for t_us, ch, value in stand.seen_in_order()]
    lines.append(f"  {stand.now_us / 1e6:11.4f} end")
    lines += [
        f"  -> {f.verdict} {f.requirement} {f.output} {f.kind} at {f.at_s:.3f}: {f.text}"
        for f in stand.judge().findings
        if f.verdict == "fail"
    ]
    return "\n".join(lines)


def _span(span: Interval | None) -> str:
    return "not-stated" if span is None else f"[{span.min_us / 1e6:g}, {span.max_us / 1e6:g}]"


def _value(value: object) -> object:
    return getattr(value, "value_uv", value)
