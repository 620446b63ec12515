"""Mistakes across keys: what may not stand together, what must, what does not exist."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from difflib import get_close_matches
from pathlib import Path as FilePath

from bench.judge.findings import REQUIREMENTS
from bench.profile.build import can_be_lost
from bench.profile.check_button import button_mistakes
from bench.profile.check_light import light_mistakes
from bench.profile.check_outputs import CANNOT_BE_LOST, output_mistakes
from bench.profile.check_sensors import sensor_mistakes
from bench.profile.check_wiring import wiring_mistakes
from bench.profile.form import ProfileForm, ResetForm, RulesForm
from bench.profile.intervals import span_of
from bench.profile.mistakes import Mistake
from bench.profile.quantities import format_duration
from bench.profile.wiring import Channel

#: Requirements that each output has of its own: one must be named.
_PER_OUTPUT = ("follow", "trip", "blocked", "forced", "release", "restart")
_NEED_LOSS = ("loss", "kept-on-loss", "return", "latch")


def errors(form: ProfileForm) -> list[Mistake]:
    """All that is wrong across keys, whatever fixture it is for."""
    return [
        *_calls(form),
        *output_mistakes(form),
        *sensor_mistakes(form),
        *_timing(form),
        *light_mistakes(form),
        *_rules(form),
        *button_mistakes(form),
        *_proofs(form),
    ]


def _calls(form: ProfileForm) -> Iterator[Mistake]:
    calls = form.calls or []
    for index, call in enumerate(calls):
        if call in calls[:index]:
            yield Mistake(("calls", index), f"{call} stands twice; keep only one")


def _timing(form: ProfileForm) -> Iterator[Mistake]:
    timing = form.timing
    if timing is None or form.sensors is None:
        return
    for key, what in (
        ("loss", "the board needs to notice a lost sensor"),
        ("return", "the sensor must be good again"),
    ):
        if can_be_lost(form) and timing.at(key) is None:
            yield Mistake(
                ("timing", key),
                f"is missing, though a sensor can be lost; write how long {what}, or not stated",
            )
        if not can_be_lost(form) and timing.at(key) is not None:
            yield Mistake(("timing", key), CANNOT_BE_LOST)
    boot, warm_up = span_of(timing.boot), span_of(timing.warm_up)
    if boot is not None and warm_up is not None and warm_up.max_us < boot.max_us:
        yield Mistake(
            ("timing", "warm_up"),
            f"ends before boot ({format_duration(boot.max_us)}), though both count from the supply; "
            "write a longer warm_up or a shorter boot",
        )


def _rules(form: ProfileForm) -> Iterator[Mistake]:
    rules = form.rules or RulesForm()
    if form.sensors is not None and not can_be_lost(form):
        for key in ("lost_when", "hold_when_lost", "return_only_when", "after_fault", "latching", "reset"):
            if rules.at(key) is not None:
                yield Mistake(("rules", key), CANNOT_BE_LOST)
        return
    by_button = form.button is not None and form.button.reset is not None
    if rules.latching is True and rules.reset is None and not by_button:
        yield Mistake(
            ("rules", "reset"),
            "is missing: a latching fault needs it; write {supply_off: 10 s}, or not stated",
        )
    if rules.latching is False and rules.reset is not None:
        yield Mistake(("rules", "reset"), "does not fit latching: false; remove it, or write latching: true")
    ride = span_of(form.timing.ride_through) if form.timing else None
    off = rules.reset.supply_off if isinstance(rules.reset, ResetForm) else None
    if off is not None and ride is not None and off <= ride.max_us:
        yield Mistake(
            ("rules", "reset", "supply_off"),
            f"is {format_duration(off)}, a gap that the board bridges; write more than ride_through "
            f"({format_duration(ride.max_us)})",
        )


def _proofs(form: ProfileForm) -> Iterator[Mistake]:
    proofs = form.must_prove or []
    for index, proof in enumerate(proofs):
        path = ("must_prove", index)
        name, colon, output = proof.partition(":")
        if name not in REQUIREMENTS:
            near = get_close_matches(name, REQUIREMENTS, 1)
            guess = f"did you mean {near[0]}?" if near else f"write one of {', '.join(REQUIREMENTS)}"
            yield Mistake(path, f"{name} is no requirement; {guess}")
        elif proof in proofs[:index]:
            yield Mistake(path, f"{proof} stands twice; keep only one")
        elif name == "light" and form.light is None:
            yield Mistake(
                path, "light cannot be shown: this profile has no light; remove it, or write light: …"
            )
        elif name == "backfeed" and (form.rules is None or form.rules.backfeed is not False):
            yield Mistake(
                path,
                "backfeed cannot be shown: it is not judged; remove it, or write rules: {backfeed: false}",
            )
        elif name in _NEED_LOSS and form.sensors is not None and not can_be_lost(form):
            yield Mistake(path, f"{proof} cannot be shown: none of these sensors can be lost; remove it")
        elif name == "contact" and not {"alarm.no", "alarm.nc"} <= set(
            form.outputs or ("alarm.no", "alarm.nc")
        ):
            text = (
                "contact cannot be shown: it takes both alarm.no and alarm.nc; name the other, or remove it"
            )
            yield Mistake(path, text)
        elif form.outputs is not None:
            names = ", ".join(form.outputs)
            if colon and output not in form.outputs:
                text = f"{proof} names no output of this board; the outputs are {names}"
                yield Mistake(path, text, unless=("outputs", output))
            elif not colon and name in _PER_OUTPUT:
                yield Mistake(path, f"{name} needs an output, as in {name}:{next(iter(form.outputs))}")


def of_file(form: ProfileForm, path: FilePath, table: Sequence[Channel]) -> list[Mistake]:
    """What is wrong with the file's name, and with the wiring on this fixture."""
    return [*_file_name(form, path), *wiring_mistakes(form, table)]


def _file_name(form: ProfileForm, path: FilePath) -> Iterator[Mistake]:
    if form.name is not None and form.name != path.stem:
        yield Mistake(
            ("name",),
            f"is {form.name}, but the file is {path.name}; write name: {path.stem}, or rename the file",
        )
