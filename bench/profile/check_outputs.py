"""What an output's keys say together: feed and policies, calls, times, alarm contacts."""

from __future__ import annotations

from collections.abc import Iterator

from bench.profile.build import call_of, can_be_lost, has_self_test, policies, reactions
from bench.profile.form import OutputForm, ProfileForm
from bench.profile.intervals import Both, span_of, spans_of_moves
from bench.profile.mistakes import Mistake, listed
from bench.profile.quantities import format_duration
from bench.profile.yamltext import Path
from firmware_ref.parameters import Mode

_ALARMS = {"contact-no": "alarm.no", "contact-nc": "alarm.nc"}
_ALLOWED = {"ac": ("follow", "off", "on"), "contact": ("open", "closed")}


def output_mistakes(form: ProfileForm) -> Iterator[Mistake]:
    for name, output in (form.outputs or {}).items():
        path: Path = ("outputs", name)
        if output.kind is not None:
            yield from _kind(name, output, path)
        yield from _policies(form, name, output, path)
        yield from _call(form, name, output, path)
        yield from _times(form, output, path)
    yield from _late_reactions(form.timing.react if form.timing else None, ("timing", "react"))


def _kind(name: str, output: OutputForm, path: Path) -> Iterator[Mistake]:
    alarm = _ALARMS.get(output.kind)
    if alarm is not None and name != alarm:
        yield Mistake(path, f"is a {output.kind}, an alarm contact; call it {alarm}")
    if alarm is None and name.startswith("alarm."):
        kind = next(kind for kind, called in _ALARMS.items() if called == name)
        yield Mistake((*path, "kind"), f"is ac, but {name} is an alarm contact; write {kind}")
    elif output.feed is not None and (output.feed == "own") != (alarm is not None):
        feeds = (
            "own, the only feed of an alarm contact"
            if alarm
            else "call or supply, the feeds of a 24 VAC output"
        )
        yield Mistake((*path, "feed"), f"is {output.feed}; write {feeds}")
    if alarm is not None:
        for key in ("call", "restart", "follow"):
            if output.at(key) is not None:
                yield Mistake((*path, key), "does not fit an alarm contact, which has no call; remove it")


def _policies(form: ProfileForm, name: str, output: OutputForm, path: Path) -> Iterator[Mistake]:
    written = output.modes
    if written is None or output.kind is None:
        return
    allowed = _ALLOWED["ac" if output.kind == "ac" else "contact"]
    what = "a 24 VAC output" if output.kind == "ac" else "an alarm contact"
    for mode, policy in policies(form, name, output).items():
        if mode is Mode.SELF_TEST and not has_self_test(form):
            if written.self_test is not None:
                yield Mistake(
                    (*path, "modes", "self-test"),
                    "does not fit: no gesture of the button starts a self-test; remove it, or write button.self_test",
                )
            continue
        here = (*path, "modes", mode.value)
        if policy is None:
            if mode in (Mode.LEAK_ACTIVE, Mode.POST_LEAK_HOLD, Mode.SENSOR_FAULT, Mode.SELF_TEST):
                yield Mistake(here, f"is missing; write what the output does there: {listed(allowed)}")
        elif policy not in allowed:
            yield Mistake(here, f"is {policy}; {what} takes {listed(allowed)}")
        elif policy == "on" and output.feed == "call":
            yield Mistake(
                here if written.at(mode.value) else (*path, "feed"),
                f"is on in {mode}, but with feed: call it is on only while its call is; write feed: supply",
            )


def _call(form: ProfileForm, name: str, output: OutputForm, path: Path) -> Iterator[Mistake]:
    if output.kind != "ac" or form.calls is None:
        return
    calls = ", ".join(form.calls)
    if output.call is not None and output.call not in form.calls:
        yield Mistake(
            (*path, "call"), f"is {output.call}, which is none of the calls ({calls}); name one of them"
        )
    elif call_of(form, name, output) is None:
        follows = "follow" in policies(form, name, output).values()
        if follows or output.feed == "call":
            why = "follows a call" if follows else "is fed by a call"
            yield Mistake(
                (*path, "call"), f"is missing: {name} {why}, and no call has its name; name one of {calls}"
            )


def _times(form: ProfileForm, output: OutputForm, path: Path) -> Iterator[Mistake]:
    if output.kind == "ac" and output.follow is None:
        modes = output.modes
        follows = modes is not None and any(modes.at(m.value) == "follow" for m in Mode)
        if follows:
            yield Mistake(
                (*path, "follow"), "is missing; write how soon it follows its call, as in {within: 250 ms}"
            )
    if output.follow is None and None in reactions(form, output) and output.kind is not None:
        yield Mistake(
            (*path, "react"),
            "is missing; write how soon it moves after a change of mode, as in {within: 1 s}",
            unless=(*path, "follow"),
        )
    yield from _fed_off_late(output, path)
    yield from _late_reactions(output.react, (*path, "react"))
    if output.loss is not None and not can_be_lost(form):
        yield Mistake((*path, "loss"), CANNOT_BE_LOST)


def _fed_off_late(output: OutputForm, path: Path) -> Iterator[Mistake]:
    """An output that its call feeds has no voltage any more when the call goes, whatever the board does."""
    _, off = spans_of_moves(output.follow)
    if output.feed == "call" and off is not None and off.min_us > 0:
        yield Mistake(
            (*path, "follow", "off") if isinstance(output.follow, Both) else (*path, "follow"),
            f"has a shortest time of {format_duration(off.min_us)} for the move to off, but with feed: call the "
            f"output is off as soon as its call is; write off: {{within: {format_duration(off.max_us)}}}, or feed: supply",
        )


CANNOT_BE_LOST = "does not fit: none of these sensors can be lost (a plain contact cannot); remove it"


def _late_reactions(react: object, path: Path) -> Iterator[Mistake]:
    """The hidden change of mode has no time of its own, so a reaction has no earliest time."""
    both = {"on": react.on, "off": react.off} if isinstance(react, Both) else {"": react}
    for key, value in both.items():
        span = span_of(value)
        if span is not None and span.min_us > 0:
            most = format_duration(span.max_us)
            yield Mistake(
                (*path, key) if key else path, f"cannot have a shortest time; write {{within: {most}}}"
            )
