"""What the light's keys say together: codes and the times that they are read by."""

from __future__ import annotations

from collections.abc import Iterator

from bench.profile.build import can_be_lost, codes, has_self_test
from bench.profile.check_button import NO_SELF_TEST
from bench.profile.check_outputs import CANNOT_BE_LOST
from bench.profile.form import LightForm, ProfileForm
from bench.profile.intervals import span_of
from bench.profile.mistakes import Mistake
from bench.profile.quantities import format_duration
from bench.profile.yamltext import Path
from firmware_ref.parameters import Mode, flashes

#: A flash or a gap that is shorter cannot be told from a glitch or from the mains in it.
SHORTEST_US = 100_000
#: A pause is at least so much longer than a gap.
LONGER = 1.5


def light_mistakes(form: ProfileForm) -> Iterator[Mistake]:
    light = form.light
    if light is None or light.modes is None:
        return
    path: Path = ("light",)
    lossy = form.sensors is None or can_be_lost(form)
    fault = (*path, "modes", "sensor-fault")
    if lossy and light.modes.sensor_fault is None:
        yield Mistake(fault, "is missing, though a sensor can be lost; write what the light shows then")
    if not lossy and light.modes.sensor_fault is not None:
        yield Mistake(fault, CANNOT_BE_LOST)
    tested = (*path, "modes", "self-test")
    if has_self_test(form) and light.modes.self_test is None:
        yield Mistake(
            tested, "is missing, though the button starts a self-test; write what the light shows then"
        )
    if not has_self_test(form) and light.modes.self_test is not None:
        yield Mistake(tested, NO_SELF_TEST)
    flashing = [m for m, c in codes(light).items() if c is not None and flashes(c)]
    if flashing and light.flash is None:
        yield Mistake(
            (*path, "flash"),
            f"is missing, though the light flashes in {flashing[0]}; write on, off and pause, or not stated for each",
        )
    yield from _times(light, path, codes(light))


def _times(light: LightForm, path: Path, written: dict[Mode, str | None]) -> Iterator[Mistake]:
    if light.flash is None:
        return
    spans = {key: span_of(light.flash.at(key)) for key in light.flash.known_keys()}
    for key, span in spans.items():
        if span is not None and span.min_us < SHORTEST_US:
            yield Mistake(
                (*path, "flash", key),
                f"may be as short as {format_duration(span.min_us)}; write {format_duration(SHORTEST_US)} or more, "
                "for what is shorter cannot be told from a glitch",
            )
    off, pause = spans["off"], spans["pause"]
    if off is not None and pause is not None and pause.min_us < LONGER * off.max_us:
        least = format_duration(round(LONGER * off.max_us))
        yield Mistake(
            (*path, "flash", "pause"),
            f"may be as short as {format_duration(pause.min_us)}, too near the gap of up to "
            f"{format_duration(off.max_us)}; write a pause of at least {least}, else groups cannot be told apart",
        )
