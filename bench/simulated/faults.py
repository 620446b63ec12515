"""Faults as they are typed: `NAME[:WHERE[,WHERE]][=SIZE]`, and what each shows on a given board.

A size is a quantity beyond the limit (`hold-short=20 s`, `trip-high=3 %LFL`);
left out it is three expected bounds.  What does not exist, or what the board's
equipment cannot have, is refused in one sentence.
"""

from __future__ import annotations

import difflib
import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from bench.errors import UsageError
from bench.judge.bounds import expected_bound_us, signal_bound
from bench.profile.quantities import format_duration, format_lfl, parse_duration, parse_lfl
from bench.simulated.expected import expected, seen_in_self_test, told_by_output
from bench.simulated.fault_table import TABLE, Row
from bench.simulated.flaws import Flaws, OutputFlaws
from bench.simulated.light import LightFlaws, other_code
from bench.simulated.poller import Wrongs
from firmware_ref.alarm import are_watched
from firmware_ref.parameters import DARK, STEADY, Band, Mode, Output, Parameters, Policy, Sensor, flashes

#: A default size is this many bounds beyond the limit.
_BOUNDS = 3
_ROWS = {row.name: row for row in TABLE}
_MICRO = 1_000_000
#: Modes that last long enough in `acceptance` for the light to be read; sensor-fault where a sensor can be lost.
_LASTING = (Mode.NORMAL, Mode.LEAK_ACTIVE, Mode.POST_LEAK_HOLD)
#: A light that is late by less may not be told from one in time: groups have to be read.
_LATE_US = 20_000_000
#: Where a sensor input switches beyond a limit.
SHIFTS = ("trip-high", "trip-low", "clear-high", "clear-low")


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault.  `size` is in us for a time, in millionths of a %LFL for a level; None: the default, or none."""

    name: str
    where: tuple[str, ...] = ()
    size: int | None = None

    @property
    def kind(self) -> str:
        """`board` or `fixture`."""
        return _ROWS[self.name].kind


@dataclass(frozen=True, slots=True)
class Entry:
    """One fault that this board, or a fixture wired to it, can have.

    `name`: as it is typed.  `expected`: (requirement, output or None, kind) of
    the first failed finding of `procedure`; None for a fault of the fixture.
    `default_size`: as it is typed, None where the fault takes no size.
    """

    name: str
    kind: str
    about: str
    expected: tuple[str, str | None, str] | None
    default_size: str | None = None
    procedure: str = "acceptance"


def _about(row: Row, where: tuple[str, ...]) -> str:
    text = row.about.format(*where)
    return text.replace("comes on", "closes") if where and where[0].startswith("alarm.") else text


def catalogue(parameters: Parameters, procedure: str = "acceptance") -> list[Entry]:
    """Every fault that the board of these parameters and its fixture can have, in the order of the table.

    Those that `procedure` is tabled to show, and those of the fixture.
    """
    return [
        Entry(
            name=_typed(row.name, where),
            kind=row.kind,
            about=_about(row, where),
            expected=expected(row, where, parameters) if row.kind == "board" else None,
            default_size=_size_text(row, parameters),
            procedure=row.procedure,
        )
        for row in TABLE
        if why_not(row, parameters) is None and (row.kind == "fixture" or row.procedure == procedure)
        for where in _places(row, parameters)
    ]


def parse(text: str, parameters: Parameters) -> Fault:
    """The fault typed as `text`, its size filled in; raises UsageError with one sentence."""
    head, equals, size_text = text.partition("=")
    name, colon, where_text = (part.strip() for part in head.partition(":"))
    row = _ROWS.get(name)
    if row is None:
        near = difflib.get_close_matches(name, [r.name for r in TABLE if why_not(r, parameters) is None], n=1)
        hint = f"did you mean '{near[0]}'?" if near else f"write one of {', '.join(_ROWS)}"
        raise UsageError(f"fault '{name}' does not exist: {hint}")
    cannot = why_not(row, parameters)
    if cannot is not None:
        raise UsageError(f"fault '{name}': {parameters.name} cannot have it: {cannot}")
    where = _where(row, tuple(w.strip() for w in where_text.split(",")) if colon else (), parameters)
    if not equals:
        return Fault(name, where, default_size(row.name, parameters))
    if row.size is None:
        raise UsageError(f"fault '{name}' takes no size: write {_typed(name, where)}")
    return Fault(name, where, _parse_size(row, size_text.strip(), parameters))


def default_size(name: str, parameters: Parameters) -> int | None:
    """Three expected bounds, in us or millionths of a %LFL; None where the fault takes no size."""
    size = _ROWS[name].size
    if size is None:
        return None
    if size == "level":
        return max(_lfl_of(parameters))
    if name == "light-late":
        return _LATE_US
    if name == "contacts-overlap":
        return _BOUNDS * expected_bound_us(parameters.timing.glitch_us)
    judged = parameters.timing.trip if name == "slow-trip" else None
    longest = judged.max_us if judged is not None else _composite_max_us(parameters)
    return _BOUNDS * expected_bound_us(longest)


def size_of(fault: Fault, parameters: Parameters) -> int:
    """The fault's size, or the default where it names none."""
    size = fault.size if fault.size is not None else default_size(fault.name, parameters)
    if size is None:
        raise UsageError(f"fault '{fault.name}' takes no size")
    return size


def flaws_of(faults: Sequence[Fault], parameters: Parameters) -> Flaws:
    """What is wrong inside the board's program, of all these faults."""
    by_name = {f.name: f for f in faults}

    def size(name: str) -> int | None:
        return size_of(by_name[name], parameters) if name in by_name else None

    return Flaws(
        hold_short_us=size("hold-short"),
        hold_long_us=size("hold-long"),
        slow_trip_us=size("slow-trip"),
        no_restart="no-restart" in by_name,
        no_release="no-release" in by_name,
        clears_at_once="clears-at-once" in by_name,
        loss_ends_mitigation="loss-ends-mitigation" in by_name,
        accumulates=frozenset(f.name.partition("-")[0] for f in faults if f.name.endswith("-accumulates")),
        forgets_mitigation="forgets-mitigation" in by_name,
        forgets_fault="forgets-fault" in by_name,
        button_dead="button-dead" in by_name,
        press_too_few="press-too-few" in by_name,
        press_too_short="press-too-short" in by_name,
        reset_ignored="reset-ignored" in by_name,
        clear_ignored="clear-ignored" in by_name,
        self_test_endless="self-test-endless" in by_name,
        self_test_blind="self-test-blind" in by_name,
    )


def as_built(output: Output, faults: Sequence[Fault]) -> Output:
    """The output as the board's maker built it, where that is not as its profile says."""
    its = {f.name for f in faults if f.where == (output.name,)}
    if "restart-missing" in its:
        output = replace(output, restart=None)
    if "not-held" in its:
        output = replace(output, modes={**output.modes, Mode.POST_LEAK_HOLD: Policy.FOLLOW})
    return output


def output_flaws_of(faults: Sequence[Fault], output: str) -> OutputFlaws:
    """What is wrong with the output of that name alone, of all these faults."""
    its = {f.name for f in faults if f.where == (output,)}
    return OutputFlaws(passes_new_call="passes-new-call" in its, not_released="not-released" in its)


def light_flaws_of(faults: Sequence[Fault], parameters: Parameters) -> LightFlaws:
    """What is wrong with the board's light, of all these faults."""
    by_name = {f.name: f for f in faults}
    wrong, late = by_name.get("light-code"), by_name.get("light-late")
    return LightFlaws(
        dark="light-dark" in by_name,
        stuck="light-stuck" in by_name,
        late_us=None if late is None else size_of(late, parameters),
        wrong=None if wrong is None else wrong.where[0],
        more=1 if "light-miscounts" in by_name else 0,
        recalls=0 if "recall-nothing" in by_name else 2 if "recall-again" in by_name else 1,
        recalls_other="recall-other" in by_name,
    )


def wrongs_of(faults: Sequence[Fault]) -> Wrongs:
    """What is wrong with how the board asks its Modbus sensor, of all these faults."""
    names = {f.name for f in faults}
    return Wrongs(
        takes_bad_crc="takes-bad-crc" in names,
        ignores_exceptions="ignores-exception" in names,
        ignores_fault="ignores-sensor-fault" in names,
        swaps_bytes="bytes-swapped" in names,
        scale_off="scale-wrong" in names,
        never_silent="no-silence" in names,
    )


#: Faults of a board with a Modbus sensor, and the way of losing it that each does not notice.
_MODBUS = {
    "takes-bad-crc": "bad-crc",
    "ignores-exception": "exception",
    "ignores-sensor-fault": "fault",
    "bytes-swapped": None,
    "scale-wrong": None,
    "no-silence": "silent",
}


def why_not(row: Row, parameters: Parameters) -> str | None:
    """Why the equipment of these parameters cannot have the fault; None if it can."""
    timing = parameters.timing
    name = row.name
    if name in ("hold-short", "hold-long", "no-restart", "no-release", "clear-high", "clear-low") and (
        timing.clear is None or timing.hold is None
    ):
        return "its clear or hold time is not stated"
    if (
        name in ("slow-trip", "trip-high", "trip-low", "trip-accumulates", "sensor-ignored")
        and parameters.qualification("trip") is None
    ):
        return "its trip time is not stated"
    if name == "clears-at-once":
        if timing.clear is None or timing.clear.min_us < _BOUNDS * expected_bound_us(timing.clear.max_us):
            return "its clear time may be as good as none, or is not stated"
        if told_by_output(parameters) is None:
            return "none of its outputs tells a leak from the hold after it"
    if name in (*SHIFTS, "clears-between") and not _with_levels(parameters):
        return "it has no analog sensor"
    if name in ("trip-low", "clear-high") and not any(s.kind == "analog" for s in parameters.sensors):
        return "it has no analog sensor"
    if name == "range-ignored":
        if not any(s.below or s.above for s in parameters.sensors):
            return "no range is stated for its sensors"
        if parameters.qualification("loss") is None:
            return "its loss time is not stated"
    if name in _MODBUS or name == "bus-busy":
        if not parameters.buses:
            return "it has no Modbus sensor"
        way = _MODBUS.get(name)
        if way is not None and not any(way in s.lost_by for s in parameters.sensors if s.modbus):
            return f"its Modbus sensor need not be noticed as lost by {way}"
        if way is not None and parameters.qualification("loss") is None:
            return "its loss time is not stated"
    if name in (
        "loss-ignored",
        "loss-ends-mitigation",
        "loss-accumulates",
        "forgets-fault",
        "trouble-ignored",
    ):
        if not any(s.lost_by for s in parameters.sensors):
            return "none of its sensors can be lost"
        if parameters.qualification("loss") is None:
            return "its loss time is not stated"
    if name == "contacts-overlap" and not are_watched(parameters):
        return "it has not both alarm contacts, or may close both"
    rules = parameters.rules
    if name == "forgets-mitigation" and rules.after_supply_loss not in ("resume", "restart_hold"):
        return "it need not remember a leak or a hold over a supply cut"
    if name == "forgets-fault" and (rules.latching is not True or rules.reset_supply_off_us is None):
        return "its faults do not latch until the supply was off for a stated time"
    if name.startswith("light-"):
        cannot = _why_no_light(name, parameters)
        if cannot is not None:
            return cannot
    if name.startswith("recall-") or name == "clear-ignored":
        return _why_no_recall(name, parameters)
    if name in _OF_THE_BUTTON:
        return _why_no_button(name, parameters)
    if name == "feeds-back" and rules.backfeed is not False:
        return "voltage may come out at its call terminals"
    if row.where is not None and not list(_places(row, parameters)):
        return f"it has nothing that '{_pattern(row)}' could name"
    return None


def _lasting(parameters: Parameters) -> tuple[Mode, ...]:
    loses = any(s.lost_by for s in parameters.sensors)
    return (*_LASTING, Mode.SENSOR_FAULT) if loses else _LASTING


def _why_no_light(name: str, parameters: Parameters) -> str | None:
    light = parameters.light
    if light is None:
        return "its profile has no light"
    codes = [c for m, c in light.codes.items() if c is not None and m in _lasting(parameters)]
    if name == "light-dark" and all(c == DARK for c in codes):
        return "its light is dark in every mode that lasts"
    if name == "light-stuck" and all(c == STEADY for c in codes):
        return "its light is steady in every mode that lasts"
    if name == "light-miscounts" and not any(map(flashes, codes)):
        return "its light does not flash"
    if name == "light-late" and light.latency is None:
        return "the latency of its light is not stated"
    return None


_OF_THE_BUTTON = frozenset(
    {
        "reset-ignored",
        "button-dead",
        "press-too-few",
        "press-too-short",
        "self-test-endless",
        "self-test-blind",
    }
)


def _why_no_recall(name: str, parameters: Parameters) -> str | None:
    """The same of a fault of what the button asks of the light."""
    button, light = parameters.button, parameters.light
    if button is None or "recall" not in button.gestures:
        return "its button recalls no fault"
    if light is None or None in (light.latency, light.pause):
        return "it has no light that must show a recalled fault in a stated time"
    codes = {light.codes[Mode.LEAK_ACTIVE]}
    if any(s.lost_by for s in parameters.sensors):
        codes.add(light.codes[Mode.SENSOR_FAULT])
    if light.codes[Mode.NORMAL] in codes or not all(c is not None and flashes(c) for c in codes):
        return "the codes of its faults do not flash, or one is that of normal"
    if name == "recall-other" and len(codes) == 1:
        return "its faults have one code"
    if name == "clear-ignored" and "clear-faults" not in button.gestures:
        return "its button clears no stored faults"
    return None


def _why_no_button(name: str, parameters: Parameters) -> str | None:
    """The same of a fault of the service button or of the self-test."""
    if parameters.button is None:
        return "it has no service button"
    gestures = parameters.button.gestures
    moving = [g for a, g in gestures.items() if a in ("self-test", "reset")]
    resets = "reset" in gestures and bool(parameters.rules.latching)
    if name == "reset-ignored" and not resets:
        return "its button resets no fault that surely latches"
    if name == "press-too-few" and not any(g.presses > 1 for g in moving):
        return "several presses of its button move no output"
    if name == "press-too-short" and not any(g.press is not None for g in moving):
        return "a long press of its button moves no output"
    if name in ("button-dead", "self-test-endless", "self-test-blind") and "self-test" not in gestures:
        return "its button starts no self-test"
    if name == "button-dead" and resets:
        return "its button resets faults too: reset-ignored is what acceptance shows of that"
    if name == "self-test-endless" and parameters.timing.self_test is None:
        return "how long its self-test lasts is not stated"
    if name == "self-test-blind" and seen_in_self_test(parameters) is None:
        return "no leak and no lost sensor need end its self-test, or no output tells the two apart"
    return None


# -- places ----------------------------------------------------------------------------------


def _places(row: Row, parameters: Parameters) -> Iterator[tuple[str, ...]]:
    """All that may stand behind the colon of this fault on this board."""
    outputs = [o.name for o in parameters.outputs]
    if row.where is None:
        yield ()
    elif row.where == "output":
        yield from ((name,) for name in outputs if _can_show(row.name, parameters.output(name)))
    elif row.name == "feeds-back":
        forced = [o for o in parameters.outputs if o.modes[Mode.LEAK_ACTIVE] is Policy.ON and o.kind == "ac"]
        yield from ((c,) for c in parameters.calls if any(o.call == c for o in forced))
    elif row.where == "call":
        yield from ((c,) for c in parameters.calls if any(o.call == c for o in parameters.outputs))
    elif row.where == "sensor":
        yield from ((s.name,) for s in parameters.sensors if len(parameters.sensors) > 1)
    elif row.where == "trouble":
        yield from ((s.name,) for s in parameters.sensors if "trouble" in s.lost_by)
    elif row.where == "pair":
        for a, b in itertools.combinations(parameters.outputs, 2):
            if a.kind == b.kind == "ac" and a.call != b.call:
                yield a.name, b.name
    elif row.where == "mode":
        light = parameters.light
        for mode in _lasting(parameters) if light is not None else ():
            if light is not None and light.codes[mode] is not None and other_code(light, mode) is not None:
                yield (mode.value,)
    elif row.where == "relay":
        yield from ((f"call.{c}",) for c in parameters.calls)
        yield from (("main",), ("board",))
    elif row.where == "inputs":
        ac = [o for o in parameters.outputs if o.kind == "ac"]
        pairs = itertools.combinations(ac, 2)
        yield from ((f"out.{a.name}", f"out.{b.name}") for a, b in pairs if a.call != b.call)
    else:
        yield from ((f"out.{o.name}" if o.kind == "ac" else o.name,) for o in parameters.outputs)
        yield ("sense.board",)
        if row.name == "input-dead":
            # The source reads on all the time: stuck at on it would be right.
            yield ("sense.main",)


def _can_show(fault: str, output: Output) -> bool:
    """A contact at rest in the faulty place all the time shows nothing wrong, nor a delay that it has not."""
    if fault == "restart-missing":
        return output.restart is not None
    normal, leak, hold = (output.modes[m] for m in (Mode.NORMAL, Mode.LEAK_ACTIVE, Mode.POST_LEAK_HOLD))
    if fault == "passes-new-call":
        return output.call is not None and leak is hold is Policy.OFF and normal is Policy.FOLLOW
    if fault == "not-held":
        return output.call is not None and leak is hold is Policy.ON
    if fault == "not-released":
        return output.kind == "ac" and hold is Policy.ON and normal is not Policy.ON
    policies = {p for mode, p in output.modes.items() if mode is not Mode.UNPOWERED}
    if fault == "stuck-on":
        return policies != {Policy.ON}
    return policies != {Policy.OFF} if fault == "stuck-off" else True


def _where(row: Row, given: tuple[str, ...], parameters: Parameters) -> tuple[str, ...]:
    places = list(_places(row, parameters))
    count = 2 if row.where == "inputs" else 1
    if (
        row.kind == "fixture"
        and row.where is not None
        and len(given) == count
        and all(map(str.isdigit, given))
    ):
        return given
    for place in places:
        if sorted(place) == sorted(given):
            return place
    names = ", ".join(_typed(row.name, p) for p in places)
    raise UsageError(f"fault '{_typed(row.name, given)}' does not fit {parameters.name}: write {names}")


def _typed(name: str, where: tuple[str, ...]) -> str:
    return f"{name}:{','.join(where)}" if where else name


def _pattern(row: Row) -> str:
    return _typed(
        row.name,
        {
            "pair": ("OUT", "OUT"),
            "inputs": ("CH", "CH"),
            "output": ("OUT",),
            "call": ("CALL",),
            "mode": ("MODE",),
            "sensor": ("SENSOR",),
            "trouble": ("SENSOR",),
        }.get(row.where or "", ("CH",)),
    )


# -- sizes -----------------------------------------------------------------------------------


def _parse_size(row: Row, text: str, parameters: Parameters) -> int:
    hint = f"write for example {row.name}={_size_text(row, parameters)}"
    try:
        size = round(parse_lfl(text) * _MICRO) if row.size == "level" else parse_duration(text)
    except ValueError as error:
        raise UsageError(f"fault '{row.name}': the size {error}; {hint}") from None
    if size == 0:
        raise UsageError(f"fault '{row.name}': the size is 0; {hint}")
    timing = parameters.timing
    if row.name == "hold-short" and timing.hold is not None and size >= timing.hold.min_us:
        raise UsageError(f"fault '{row.name}': the size {text} is longer than the hold; {hint}")
    return size


def _size_text(row: Row, parameters: Parameters) -> str | None:
    size = default_size(row.name, parameters)
    if size is None:
        return None
    return format_lfl(size / _MICRO) if row.size == "level" else format_duration(size)


def _composite_max_us(parameters: Parameters) -> int:
    timing = parameters.timing
    react = max((max(o.react_on.max_us, o.react_off.max_us) for o in parameters.outputs), default=0)
    return sum(i.max_us for i in (timing.clear, timing.hold) if i is not None) + react


def _with_levels(parameters: Parameters) -> list[tuple[Sensor, Band]]:
    return [(s, s.trip) for s in parameters.sensors if s.trip is not None]


def _lfl_of(parameters: Parameters) -> list[int]:
    """Three bounds of its signal at each sensor's trip level, in millionths of a %LFL."""
    steps = []
    for sensor, band in _with_levels(parameters):
        limit = band.high_uv if sensor.rising else band.low_uv
        sensor_uv = _BOUNDS * signal_bound(sensor)
        step = sensor_uv if sensor.rising else -sensor_uv
        steps.append(round((sensor.level_at(limit + step) - sensor.level_at(limit)) * _MICRO))
    return steps
