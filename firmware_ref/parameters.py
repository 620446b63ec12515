"""The required behaviour of one board, as plain frozen data.

This is the only form in which a profile reaches the reference machine, the
judge and the simulated board.  `bench.profile` builds it from YAML; nothing
here reads a file.  Times are integer microseconds (`_us`), voltages integer
microvolts (`_uv`).  `None` where an interval or a rule may stand means *not
stated*: it is measured and reported, never judged.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum


class _Word(str, Enum):
    """One of a few words, equal to its text and written as it."""

    # The hash of a plain Enum is worked out in Python, and these are looked up more often than anything else.
    __hash__ = str.__hash__

    def __str__(self) -> str:
        return self.value


class Mode(_Word):
    """What the board is doing, in the words of the trade."""

    UNPOWERED = "unpowered"
    START_UP = "start-up"
    NORMAL = "normal"
    LEAK_ACTIVE = "leak-active"
    POST_LEAK_HOLD = "post-leak-hold"
    SENSOR_FAULT = "sensor-fault"
    SELF_TEST = "self-test"


MITIGATING = frozenset({Mode.LEAK_ACTIVE, Mode.POST_LEAK_HOLD})


class Policy(_Word):
    """What an output does in a mode.  ON is *closed* for a contact, OFF is *open*."""

    FOLLOW = "follow"
    OFF = "off"
    ON = "on"


class Condition(_Word):
    """What the sensors say, all together or one alone."""

    LOW = "low"
    BETWEEN = "between"
    HIGH = "high"
    LOST = "lost"


@dataclass(frozen=True, slots=True)
class Interval:
    """A closed span of time; each occurrence may take any value in it, anew.

    `min_us` 0 is causality and no limit.
    """

    min_us: int
    max_us: int

    def __post_init__(self) -> None:
        if not 0 <= self.min_us <= self.max_us:
            raise ValueError(f"not an interval: {self.min_us}..{self.max_us} us")

    @property
    def middle_us(self) -> int:
        return (self.min_us + self.max_us) // 2

    @property
    def width_us(self) -> int:
        return self.max_us - self.min_us


@dataclass(frozen=True, slots=True)
class Restart:
    """Anti-short-cycle: how long an output stays off after the named events.

    `after` holds any of `release`, `return`, `power-up`, `any-off`.
    """

    after: frozenset[str]
    delay: Interval


@dataclass(frozen=True, slots=True)
class Output:
    """One switched terminal of the board.

    `kind`: `ac` (24 VAC terminal), `contact-no`, `contact-nc` (as read at the
    terminals).  `feed`: `call` (on only while its call is on), `supply`
    (may be on by itself), `own` (a dry contact, fed by the bench).
    `follow_*` and `react_*` are the limits of a move to on and to off;
    `trip` and `loss` are totals from the stimulus to this terminal.
    """

    name: str
    kind: str
    feed: str
    call: str | None
    modes: Mapping[Mode, Policy]
    follow_on: Interval
    follow_off: Interval
    react_on: Interval
    react_off: Interval
    trip: Interval | None
    loss: Interval | None
    restart: Restart | None = None

    def reading(self, on: bool) -> str:
        """How it reads at its terminals: `on` or `off`, of a contact `closed` or `open`."""
        return ("on" if on else "off") if self.kind == "ac" else ("closed" if on else "open")


@dataclass(frozen=True, slots=True)
class Band:
    """A level and its tolerance, at the board's sensor terminal; ends belong to it."""

    low_uv: int
    high_uv: int


@dataclass(frozen=True, slots=True)
class Modbus:
    """How a sensor answers as a Modbus RTU server; the board is the client that polls it.

    `address` 1 to 247; `baud` in bit/s; `parity` `none`, `even` or `odd`
    (a character has 11 bits, without parity 2 stop bits); `function` 3 (holding
    registers) or 4 (input registers).  `concentration` and `status` are
    register numbers, counted from 0 as on the wire; `lfl_per_count` is what one
    count of the concentration is in %LFL.  `fault_bit` and `end_of_life_bit`
    are bits of the status register, 0 the lowest; None: it has no such bit (or
    no status register).
    """

    address: int
    baud: int
    parity: str
    function: int
    concentration: int
    lfl_per_count: float
    status: int | None = None
    fault_bit: int | None = None
    end_of_life_bit: int | None = None

    def status_of(self, word: str | None) -> int:
        """The status register where the sensor says `fault` or `end-of-life`; 0 where it says neither."""
        bit = {"fault": self.fault_bit, "end-of-life": self.end_of_life_bit}.get(word or "")
        return 0 if bit is None else 1 << bit


@dataclass(frozen=True, slots=True)
class SensorSupply:
    """What a ratiometric sensor and the board's input for it are fed with, uV: as `points` go by, and from least to most."""

    nominal_uv: int
    low_uv: int
    high_uv: int


@dataclass(frozen=True, slots=True)
class Sensor:
    """One refrigerant sensor input.

    `kind`: `analog` (voltage), `contact` (plain: `open`, `short`; cannot be
    lost), `supervised` (end-of-line resistor: `normal`, `leak`, `open`,
    `short`), `trouble-contact` (two plain contacts, one for the leak and one
    for trouble), `modbus` (a concentration, or `silent`, `bad-crc`,
    `exception`, `fault`, `end-of-life`).  Of plain contacts `leak_when` and
    `trouble_when` (None: has none) say in which position, `open` or `closed`,
    they report it.  For a Modbus sensor `modbus` is set, and what is called
    `_uv` here is counts of its concentration register.  `points` are (level in %LFL, terminal voltage in uV), at least
    two, in order of rising level; the voltage may rise or fall with gas.
    `lost_by` names the signal states that the board must notice as lost.
    `load_uv`: how far the board may pull the signal away, None = not stated.
    `below` and `above`: a signal out of range, under the one or over the other,
    is lost; `lost_by` then holds `below-range`, `above-range`.  `supply`: of a
    ratiometric sensor; its bands hold wherever its supply lies.
    `lfl_ppm`: ppm by volume at 100 %LFL, None where the refrigerant is not
    named.  `trip_at_most_lfl`: the maker's claim that it trips at this level or
    below, in %LFL.
    """

    name: str
    kind: str
    lost_by: frozenset[str]
    points: tuple[tuple[float, int], ...] = ()
    trip: Band | None = None
    clear: Band | None = None
    max_uv: int = 5_000_000
    below: Band | None = None
    above: Band | None = None
    supply: SensorSupply | None = None
    load_uv: int | None = None
    leak_when: str = "closed"
    trouble_when: str | None = None
    lfl_ppm: float | None = None
    trip_at_most_lfl: float | None = None
    modbus: Modbus | None = None

    @property
    def terminals(self) -> tuple[str, ...]:
        """The names of its terminals: `2`, and `2-trouble` where trouble has a contact of its own."""
        return (self.name,) if self.trouble_when is None else (self.name, f"{self.name}-trouble")

    def contact_says(self, terminal: str, signal: str) -> str | None:
        """What a plain contact at a terminal of this sensor says: `leak` or `normal`, `trouble` or `good`.

        `signal`: `open` or `short`.  None: it is no plain contact, or no such signal.
        """
        if self.kind not in ("contact", "trouble-contact") or signal not in ("open", "short"):
            return None
        position = "closed" if signal == "short" else "open"
        if terminal == self.name:
            return "leak" if position == self.leak_when else "normal"
        return "trouble" if position == self.trouble_when else "good"

    @property
    def rising(self) -> bool:
        """Whether more gas is more voltage."""
        return not self.points or self.points[-1][1] > self.points[0][1]

    def at_nominal(self, band: Band) -> Band:
        """A band as it is at the nominal sensor supply."""
        if self.supply is None:
            return band
        nominal_uv = self.supply.nominal_uv
        return Band(
            round(band.low_uv * nominal_uv / self.supply.low_uv),
            round(band.high_uv * nominal_uv / self.supply.high_uv),
        )

    def uv_at(self, level_lfl: float) -> int:
        """Terminal voltage in uV at a level in %LFL (linear between points, extended at the ends)."""
        return round(_interpolate([(lv, uv) for lv, uv in self.points], level_lfl))

    def level_at(self, uv: float) -> float:
        """Level in %LFL at a terminal voltage in uV; the inverse of `uv_at`."""
        return _interpolate(sorted((uv_, lv) for lv, uv_ in self.points), uv)


def _interpolate(points: list[tuple[float, float]], x: float) -> float:
    segment = 0
    while segment < len(points) - 2 and x > points[segment + 1][0]:
        segment += 1
    (x0, y0), (x1, y1) = points[segment], points[segment + 1]
    return y0 + (y1 - y0) * (x - x0) / (x1 - x0)


@dataclass(frozen=True, slots=True)
class Timing:
    """The board's timings.

    `glitch_us`: a shorter lone pulse is noted, not judged.  `self_test`: how
    long a self-test lasts; None too where the board has none.
    """

    boot: Interval
    warm_up: Interval
    trip: Interval | None
    clear: Interval | None
    hold: Interval | None
    loss: Interval | None
    return_: Interval | None
    ride_through: Interval | None
    glitch_us: int
    settle_us: int = 100_000
    self_test: Interval | None = None


@dataclass(frozen=True, slots=True)
class Rules:
    """Answers that are the maker's choice; None where the profile does not state one.

    `hold_on_band`: continue, pause, restart.  `hold_when_lost`: restart, pause,
    run.  `hold_ends_only_when`: low or None.  `return_only_when`: not-high or
    None.  `after_fault`: normal or hold.  `after_supply_loss`: resume,
    restart_hold, forget.  `reset_supply_off_us`: the supply off for at least
    this long resets a latched fault (None: not a way to reset).
    `leak_in_self_test`, `loss_in_self_test`: ends (the self-test ends as normal
    would), waits (nothing comes of it before the self-test is over).
    """

    lost_when: str = "any"
    hold_on_band: str | None = None
    hold_when_lost: str | None = None
    hold_ends_only_when: str | None = None
    check_before_normal: bool = False
    return_only_when: str | None = None
    after_fault: str = "normal"
    latching: bool | None = False
    reset_supply_off_us: int | None = None
    after_supply_loss: str | None = None
    unpowered_with_calls: bool = False
    backfeed: bool | None = None
    leak_in_self_test: str | None = None
    loss_in_self_test: str | None = None


@dataclass(frozen=True, slots=True)
class Gesture:
    """What a person does with the service button.

    Either `presses` of them (1 to 10) of which all begin and end within
    `within`, or, where `press` is given, one press of at least that.  The
    board's own limit lies anywhere in the interval: inside it either is right.
    """

    presses: int = 1
    within: Interval | None = None
    press: Interval | None = None


#: What a gesture may be bound to.
ACTIONS = ("self-test", "recall", "clear-faults", "reset")


@dataclass(frozen=True, slots=True)
class Button:
    """The service button.

    `press`: how long the contact must be closed to count as a press (and open
    between two).  `acts`: how long the board may take once it can know the
    gesture.  `gestures`: action (one of `ACTIONS`) to what it is bound to.
    """

    press: Interval
    acts: Interval
    gestures: Mapping[str, Gesture]

    @property
    def window(self) -> Interval:
        """The longest time in which presses belong together; zero where single presses are all."""
        spans = [g.within for g in self.gestures.values() if g.within is not None]
        return Interval(max((s.min_us for s in spans), default=0), max((s.max_us for s in spans), default=0))


#: What the light shows while nothing lights it, and while it does not flash.
DARK, STEADY = "dark", "steady"


def flashes(code: str) -> int:
    """How many flashes a code has, as in `5 flashes`; 0 for `dark` and `steady`."""
    count = code.partition(" ")[0]
    return int(count) if count.isdigit() else 0


@dataclass(frozen=True, slots=True)
class Light:
    """The indicator light.

    `codes`: what it shows in each mode: `dark`, `steady`, `1 flash`, `2 flashes`
    and so on; None: not stated.  A flash is `on` long, the flashes of a group
    are `off` apart, the groups `pause`.  `latency`: from the change of mode
    until the new code begins.  `seen`: `optical`, or `lamp`: at the pins of a
    24 VAC lamp, where a light that is on comes and goes with the mains.
    """

    codes: Mapping[Mode, str | None]
    on: Interval | None
    off: Interval | None
    pause: Interval | None
    latency: Interval | None
    seen: str = "optical"


@dataclass(frozen=True, slots=True)
class Parameters:
    """Everything a board must do.  `must_prove` holds `NAME` or `NAME:OUTPUT`."""

    name: str
    frequency_hz: int
    calls_fed_from: str
    calls: tuple[str, ...]
    outputs: tuple[Output, ...]
    sensors: tuple[Sensor, ...]
    timing: Timing
    rules: Rules
    must_prove: tuple[str, ...]
    decision: str = "guarded"
    not_stated: tuple[str, ...] = field(default=())
    button: Button | None = None
    light: Light | None = None
    # The judge asks for these with every event.
    _places: Mapping[str, int] = field(init=False, repr=False, compare=False)
    _qualifications: Mapping[str, Interval | None] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        places = {output.name: place for place, output in enumerate(self.outputs)}
        spans = {what: self._qualification(what) for what in ("trip", "loss")}
        object.__setattr__(self, "_places", places)
        object.__setattr__(self, "_qualifications", spans)

    @property
    def has_self_test(self) -> bool:
        return self.button is not None and "self-test" in self.button.gestures

    @property
    def buses(self) -> dict[str, Modbus]:
        """The Modbus sensors under the names of their channels, `sensor.1`."""
        return {f"sensor.{s.name}": s.modbus for s in self.sensors if s.modbus is not None}

    def output(self, name: str) -> Output:
        return self.outputs[self._places[name]]

    def place_of(self, output: str) -> int:
        """Where the named output stands in `outputs`."""
        return self._places[output]

    def qualification(self, what: str) -> Interval | None:
        """The span in which the board decides on `trip` or `loss`.

        A total given per output bounds the hidden change from outside: it lies
        in [smallest min, smallest max] of all outputs' totals.
        """
        return self._qualifications[what]

    def _qualification(self, what: str) -> Interval | None:
        general = self.timing.trip if what == "trip" else self.timing.loss
        spans = [s for o in self.outputs if (s := o.trip if what == "trip" else o.loss) is not None]
        if general is not None:
            spans.append(general)
        if not spans:
            return None
        return Interval(min(s.min_us for s in spans), min(s.max_us for s in spans))
