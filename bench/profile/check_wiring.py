"""Whether the fixture has a channel for every terminal, of the right kind, and none twice."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from difflib import get_close_matches

from bench.profile.build import band_of, bus_names, can_be_volts, lfl_ppm_of, sensor_terminals
from bench.profile.form import ProfileForm
from bench.profile.intervals import ends_of
from bench.profile.mistakes import Mistake
from bench.profile.quantities import format_voltage
from bench.profile.wiring import Channel, kind_of, needed_names, own_channels


def wiring_mistakes(form: ProfileForm, table: Sequence[Channel]) -> Iterator[Mistake]:
    """`table` is the fixture's; without one only what the profile writes is checked."""
    if form.calls is None or form.outputs is None or form.sensors is None:
        return
    written = form.wiring or {}
    fed_from = form.supply.calls_fed_from if form.supply is not None else None
    seen = None if form.light is None else form.light.seen or "optical"
    names = needed_names(
        form.calls,
        list(form.outputs),
        sensor_terminals(form),
        fed_from,
        button=form.button is not None,
        light=seen is not None,
    )
    buses = bus_names(form)
    own = own_channels(names, buses, table)
    by_number = {channel.number: channel for channel in table}
    taken: dict[int, str] = {}
    for name in [*written, *(n for n in names if n not in written)]:
        path = ("wiring", name)
        # The terminal may be one whose own entry was wrong: then that is what must be mended.
        entry = (
            "sensors" if name.startswith("sensor.") else "outputs",
            name.removeprefix("out.").removeprefix("sensor.").removesuffix("-trouble"),
        )
        if name not in names and name != "sense.r-out":
            near = get_close_matches(name, names, 1)
            guess = f"did you mean {near[0]}?" if near else "remove it"
            yield Mistake(path, f"is no terminal of this board; {guess}", unless=entry)
            continue
        if name == "light" and seen == "lamp" and name not in written:
            fitting = _numbers(kind_of(name, seen), table)
            yield Mistake(
                path, f"is missing: a lamp is seen on a channel of an output; write one of {fitting}"
            )
            continue
        number = written.get(name) or own.get(name)
        if number is None:
            if table:
                text = "is missing: the fixture has no channel of this name; write the number of one"
                yield Mistake(path, text, unless=entry)
            continue
        if number in taken:
            yield Mistake(path, f"is channel {number}, as is {taken[number]}; give each its own")
        taken.setdefault(number, name)
        channel = by_number.get(number)
        kind = kind_of(name, seen, buses)
        if table and (channel is None or channel.kind != kind):
            yield _other_kind(name, number, channel, _numbers(kind, table))
        elif channel is not None and channel.kind == "sensor":
            yield from _out_of_reach(form, name.partition(".")[2], channel)


def _numbers(kind: str, table: Sequence[Channel]) -> str:
    return ", ".join(str(c.number) for c in table if c.kind == kind)


def _other_kind(name: str, number: int, channel: Channel | None, fitting: str) -> Mistake:
    offer = f"write one of {fitting}" if fitting else "this fixture has none"
    if channel is None:
        return Mistake(("wiring", name), f"is {number}, and the fixture has no such channel; {offer}")
    return Mistake(("wiring", name), f"is {number}, which is {channel.name}, of another kind; {offer}")


def _out_of_reach(form: ProfileForm, name: str, channel: Channel) -> Iterator[Mistake]:
    """Levels that the fixture's signal source cannot give."""
    if name not in form.sensors:
        return  # a trouble contact has no level
    sensor, highest = form.sensors[name], channel.highest_uv
    ends = ends_of(sensor.trip)
    if highest is None or ends is None or not can_be_volts(sensor, lfl_ppm_of(form)):
        return
    top = band_of(sensor, ends, lfl_ppm_of(form)).high_uv
    if top > highest:
        yield Mistake(
            ("sensors", name, "trip"),
            f"is up to {format_voltage(top)} at the terminal, above the {format_voltage(highest)} "
            f"of the fixture's channel {channel.number}; such a board cannot be tested here",
        )
