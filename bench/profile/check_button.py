"""What the keys of the service button and of the self-test say together."""

from __future__ import annotations

from collections.abc import Iterator

from bench.profile.build import can_be_lost, has_self_test
from bench.profile.form import ButtonForm, LongPress, Presses, ProfileForm, RulesForm
from bench.profile.intervals import span_of
from bench.profile.mistakes import Mistake
from bench.profile.quantities import format_duration
from bench.profile.yamltext import Path
from firmware_ref.parameters import Interval

_ACTIONS = ("self_test", "recall", "clear_faults", "reset")
#: The fixture presses for so long at most (hardware/PROTOCOL.md), and its relay takes up to 10 ms.
_LONGEST_US, _SHORTEST_US = 60_000_000, 15_000
NO_SELF_TEST = (
    "does not fit: no gesture of the button starts a self-test; remove it, or write button.self_test"
)


def button_mistakes(form: ProfileForm) -> Iterator[Mistake]:
    yield from _self_test(form)
    button = form.button
    if button is None:
        return
    written = {action: button.at(action) for action in _ACTIONS}
    if not any(written.values()):
        yield Mistake(
            ("button",), f"names no gesture; write one of {', '.join(_ACTIONS)}, or leave the button out"
        )
    press = span_of(button.press)
    if press is not None and press.max_us < _SHORTEST_US:
        yield Mistake(
            ("button", "press"),
            f"says that {format_duration(press.max_us)} surely are a press, and the bench's relay takes up to 10 ms; "
            f"write at least {format_duration(_SHORTEST_US)}",
        )
    for action, gesture in written.items():
        if gesture is not None:
            yield from _gesture(("button", action), gesture, press)
    yield from _alike(written)
    yield from _reset(form, button)


def _self_test(form: ProfileForm) -> Iterator[Mistake]:
    rules, timing = form.rules or RulesForm(), form.timing
    rule_keys = ("leak_in_self_test", "loss_in_self_test")
    if has_self_test(form):
        if timing is not None and timing.self_test is None:
            yield Mistake(
                ("timing", "self_test"), "is missing; write how long a self-test lasts, or not stated"
            )
        if form.sensors is not None and not can_be_lost(form) and rules.loss_in_self_test is not None:
            yield Mistake(
                ("rules", "loss_in_self_test"), "does not fit: none of these sensors can be lost; remove it"
            )
        return
    echo: Path = ("button", "self_test")
    if timing is not None and timing.self_test is not None:
        yield Mistake(("timing", "self_test"), NO_SELF_TEST, unless=echo)
    for key in rule_keys:
        if rules.at(key) is not None:
            yield Mistake(("rules", key), NO_SELF_TEST, unless=echo)


def _gesture(path: Path, gesture: Presses | LongPress, press: Interval | None) -> Iterator[Mistake]:
    if isinstance(gesture, LongPress):
        span = span_of(gesture.press)
        if span is None:
            return
        if press is not None and span.min_us <= press.max_us:
            yield Mistake(
                (*path, "press"),
                f"may be {format_duration(span.min_us)}, which may be no press at all; "
                f"write more than button.press ({format_duration(press.max_us)})",
            )
        if span.max_us * 11 // 10 > _LONGEST_US:
            yield Mistake(
                (*path, "press"),
                f"may be {format_duration(span.max_us)}; the bench presses for at most a minute, "
                "and has to press longer than that to show it",
            )
        return
    if gesture.presses is None:
        return
    span = span_of(gesture.within)
    if gesture.presses > 1 and gesture.within is None:
        yield Mistake(
            (*path, "within"), "is missing; write in which time the presses must come, as in {within: 3 s}"
        )
    if gesture.presses == 1 and gesture.within is not None:
        yield Mistake((*path, "within"), "does not fit a single press; remove it")
    if span is None or press is None or gesture.presses == 1:
        return
    needed_us = (2 * gesture.presses - 1) * press.max_us
    if not span.min_us:
        yield Mistake(
            (*path, "within"),
            "has no shortest time, so no presses surely are quick enough; write "
            f"{{nominal: {format_duration(span.max_us)}, tolerance: …}} or {{between: […, {format_duration(span.max_us)}]}}",
        )
    elif span.min_us < needed_us * 3 // 2:
        yield Mistake(
            (*path, "within"),
            f"may be {format_duration(span.min_us)}; {gesture.presses} presses and the gaps between take "
            f"{format_duration(needed_us)} at least, and half as much again to show it",
        )


def _alike(written: dict[str, Presses | LongPress | None]) -> Iterator[Mistake]:
    """Two actions may not have gestures that one making of them may be taken for."""
    counted: dict[int, str] = {}
    held: list[tuple[Interval, str]] = []
    for action, gesture in written.items():
        path: Path = ("button", action)
        if isinstance(gesture, Presses) and gesture.presses is not None:
            other = counted.setdefault(gesture.presses, action)
            if other != action:
                yield Mistake(
                    (*path, "presses"), f"are {gesture.presses}, as for {other}; write another number"
                )
        elif isinstance(gesture, LongPress) and (span := span_of(gesture.press)) is not None:
            for known, other in held:
                if span.min_us <= known.max_us and known.min_us <= span.max_us:
                    yield Mistake(
                        (*path, "press"), f"may be as long as for {other}; write times that do not overlap"
                    )
            held.append((span, action))


def _reset(form: ProfileForm, button: ButtonForm) -> Iterator[Mistake]:
    rules, path = form.rules or RulesForm(), ("button", "reset")
    if button.reset is None or form.sensors is None:
        return
    if not can_be_lost(form):
        yield Mistake(path, "does not fit: none of these sensors can be lost, so no fault latches; remove it")
    elif rules.latching is False:
        yield Mistake(path, "does not fit latching: false; remove it, or write latching: true")
