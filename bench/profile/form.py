"""The keys of a profile: the one list of what may be written, and the source of the JSON Schema.

What a key means is said beside it; `FORMAT.md` is the same for people.  What
only fits or not together with another key is in `bench.profile.checks`.
"""

from __future__ import annotations

from difflib import get_close_matches
from typing import Annotated, Any, Literal, Union

from pydantic import Discriminator, Field, StringConstraints, Tag

from bench.profile.intervals import LevelInterval, MoveLimits, StatedOrNot, TimeInterval, VoltageInterval
from bench.profile.values import (
    BoolOrNot,
    CodeOrNot,
    Duration,
    Form,
    Gas,
    NotStated,
    SensorLevel,
    Voltage,
    VoltageOrNot,
    needed,
    optional,
    or_not_stated,
)

Name = Annotated[str, StringConstraints(pattern=r"^[A-Za-z][A-Za-z0-9]*(-[A-Za-z0-9]+)*$", max_length=60)]
#: `Y`, `W2`; the two alarm contacts carry a dot.
OutputName = Annotated[
    str, StringConstraints(pattern=r"^([A-Za-z][A-Za-z0-9]*(-[A-Za-z0-9]+)*|alarm\.(no|nc))$", max_length=60)
]
SensorName = Annotated[str, StringConstraints(pattern=r"^[1-9][0-9]?$")]
ChannelName = Annotated[
    str,
    StringConstraints(pattern=r"^(call|out|sensor|alarm|sense)\.[A-Za-z0-9-]+$|^(main|board|button|light)$"),
]
Does = Literal["follow", "off", "on", "open", "closed"]
LostBy = Literal[
    "open", "short", "out_of_range", "trouble", "silent", "bad-crc", "exception", "fault", "end-of-life"
]
Text = Annotated[str, StringConstraints(max_length=500)]


class Supply(Form):
    """The 24 VAC supply and where the calls get theirs."""

    frequency: Literal["60 Hz", "50 Hz"] = needed("Mains frequency.")
    calls_fed_from: Literal["bench", "board"] = needed(
        "Calls are fed by the bench, or from the board's own R out."
    )


class Modes(Form):
    """What an output does in each mode."""

    unpowered: Does = needed(
        "Without supply: off, on, or follow (a normally closed contact passes the call)."
    )
    start_up: Does = needed("From the supply until the end of warm-up.", alias="start-up")
    normal: Does = needed("No leak, sensor good.")
    leak_active: Does = optional(
        "While the sensor reports a leak. Left out: Y off, W off, G on.", alias="leak-active"
    )
    post_leak_hold: Does = optional(
        "After the leak, while the hold runs. Left out: Y off, W off, G on.", alias="post-leak-hold"
    )
    sensor_fault: Does = optional(
        "While the sensor is lost. May be left out only if no sensor can be lost.", alias="sensor-fault"
    )
    self_test: Does = optional(
        "While the board tests itself. Needed where the button starts a self-test.", alias="self-test"
    )


class RestartForm(Form):
    """Anti-short-cycle: the output stays off for a time after the named events."""

    after: list[Literal["release", "return", "power-up", "any-off"]] = needed(
        "The events it runs after.", min_length=1
    )
    delay: TimeInterval = needed("Until its shortest time the output stays off; from its longest it follows.")


class OutputForm(Form):
    """One switched terminal of the board."""

    kind: Literal["ac", "contact-no", "contact-nc"] = needed(
        "24 VAC terminal, or an alarm contact at rest open or closed."
    )
    feed: Literal["call", "supply", "own"] = needed(
        "call: on only while its call is on. supply: may be on by itself. own: an alarm contact."
    )
    call: Name = optional("The call that it follows. Left out: the call of the same name.")
    follow: MoveLimits = optional("How soon it follows its call. Needed where it follows one.")
    react: MoveLimits = optional(
        "How soon it moves after a change of mode. Left out: timing.react, else follow."
    )
    trip: StatedOrNot = optional("From the leak to this terminal. Left out: timing.trip.")
    loss: StatedOrNot = optional("From the sensor's loss to this terminal. Left out: timing.loss.")
    restart: RestartForm = optional("Anti-short-cycle. Left out: none.")
    modes: Modes = needed("What it does in each mode.")


class BusForm(Form):
    """How the board talks to a Modbus RTU sensor, which the fixture plays."""

    address: Annotated[int, Field(ge=1, le=247)] = needed("The sensor's address, 1 to 247.")
    baud: Literal[2400, 4800, 9600, 19200, 38400] = needed("Bits a second.")
    parity: Literal["even", "odd", "none"] = needed("Parity; with none the sensor sends two stop bits.")
    function: Literal[3, 4] = needed(
        "Function code that reads the registers: 3 (holding registers) or 4 (input registers)."
    )


RegisterNumber = Annotated[int, Field(ge=0, le=65535)]
BitNumber = Annotated[int, Field(ge=0, le=15)]


class ConcentrationForm(Form):
    """The register with the concentration, 16 bits without a sign."""

    number: RegisterNumber = needed("Number of the register, counted from 0 as on the wire.")
    scale: Gas = needed("What one count is, as in 0.1 %LFL.")


class StatusForm(Form):
    """The register with the status bits."""

    number: RegisterNumber = needed("Number of the register, counted from 0 as on the wire.")
    fault: BitNumber = optional("The bit by which the sensor says that it failed, 0 the lowest.")
    end_of_life: BitNumber = optional("The bit by which it says that its life is over, 0 the lowest.")


class RegistersForm(Form):
    """What a Modbus sensor has to be read from it."""

    concentration: ConcentrationForm = needed("The concentration.")
    status: StatusForm = optional("The status bits. Left out: the sensor says nothing about itself.")


class RangeForm(Form):
    """Where an analog signal is out of its range."""

    below: VoltageInterval = optional("Under this it is lost. Left out: there is no such limit.")
    above: VoltageInterval = optional("Over this it is lost. Left out: there is no such limit.")


class SensorForm(Form):
    """One refrigerant sensor input."""

    kind: Literal["analog", "contact", "supervised", "trouble-contact", "modbus"] = needed(
        "A voltage; a plain contact (cannot be lost); a contact with end-of-line resistor; "
        "a plain contact and a second one for trouble; a Modbus RTU server."
    )
    bus: BusForm = optional("modbus: address, baud, parity and function code.")
    registers: RegistersForm = optional("modbus: where concentration and status stand.")
    points: dict[Gas, Voltage] = optional("analog: terminal voltage at each level.", min_length=2)
    max: Voltage = optional("analog: highest voltage that the board stands. Left out: 5 V.")
    ratiometric: bool = optional(
        "analog: the voltage scales with the board's sensor supply. Left out: false."
    )
    sensor_supply: VoltageInterval = optional(
        "ratiometric: what the board's sensor supply may be, as measured; points hold at its nominal or middle."
    )
    load: VoltageOrNot = optional("analog: how far the board may pull the signal away. Left out: not stated.")
    trip: LevelInterval = optional("analog, modbus: at this level and above is a leak.")
    clear: LevelInterval = optional("analog, modbus: below this level the leak is gone.")
    trip_at_most: SensorLevel = optional(
        "analog: the maker's claim that it trips at this level or below; shown by the procedure levels."
    )
    out_of_range: RangeForm = optional(
        "analog: the limits of the signal's range; with out_of_range in lost_by."
    )
    leak_when: Literal["open", "closed"] = optional(
        "contact, trouble-contact: the leak contact's position in a leak. Left out: closed."
    )
    trouble_when: Literal["open", "closed"] = optional(
        "trouble-contact: the trouble contact's position in trouble. Left out: open."
    )
    lost_by: list[LostBy] = optional(
        "analog, supervised: open, short; analog: out_of_range; trouble-contact: trouble; modbus: the others: "
        "what the board must notice as lost."
    )


class TimingForm(Form):
    """The board's timings."""

    boot: TimeInterval = needed("From the supply until the outputs must be right.")
    warm_up: TimeInterval = needed("From the supply until normal operation.")
    react: MoveLimits = optional(
        "How soon outputs move after a change of mode. Left out: each output's follow."
    )
    trip: StatedOrNot = needed("From the leak to the outputs' terminals.")
    clear: StatedOrNot = needed("How long the leak must be gone before the hold begins.")
    hold: StatedOrNot = needed("How long mitigation goes on after the leak is clear.")
    loss: StatedOrNot = optional(
        "From the sensor's loss to the outputs' terminals. Needed where a sensor can be lost."
    )
    return_: StatedOrNot = optional(
        "How long the sensor must be good again. Needed where a sensor can be lost.", alias="return"
    )
    ride_through: StatedOrNot = needed("How long a gap of supply the board bridges.")
    glitch: Duration = needed("A lone pulse shorter than this is noted, not judged.")
    self_test: StatedOrNot = optional("How long a self-test lasts. Needed where the button starts one.")
    settle: Duration = optional(
        "How long a signal going into or out of loss may cross any level. Left out: 100 ms."
    )


class ResetForm(Form):
    """How a latched sensor-fault is reset."""

    supply_off: Duration = needed("The supply off for at least this long.")


ResetOrNot = Annotated[Union[Annotated[ResetForm, Tag("#value")], NotStated], or_not_stated]


class RulesForm(Form):
    """The maker's choices.  What is left out is not stated, except where a default is given."""

    lost_when: Literal["any", "all"] = optional(
        "Sensors count as lost if any is, or if all are. Left out: any."
    )
    hold_on_band: Literal["continue", "pause", "restart", "not stated"] = optional(
        "The hold, while the sensor is not low."
    )
    hold_when_lost: Literal["restart", "pause", "run", "not stated"] = optional(
        "The hold, while the sensor is lost."
    )
    hold_ends_only_when: Literal["low", "not stated"] = optional("low: the hold never ends with gas present.")
    check_before_normal: BoolOrNot = optional("true: outputs never follow after warm-up with a leak present.")
    return_only_when: Literal["not-high", "not stated"] = optional(
        "not-high: sensor-fault never ends with gas present."
    )
    after_fault: Literal["normal", "hold"] = optional("Where sensor-fault ends. Left out: normal.")
    latching: BoolOrNot = optional("true: sensor-fault stays until it is reset.")
    reset: ResetOrNot = optional("How a latched sensor-fault is reset.")
    after_supply_loss: Literal["resume", "restart_hold", "forget", "not stated"] = optional(
        "What becomes of leak and hold when the supply was gone."
    )
    unpowered_with_calls: bool = optional(
        "true: the board alone may be cut while calls are fed. Left out: false."
    )
    backfeed: BoolOrNot = optional("false: no voltage may come out at a call's terminal.")
    leak_in_self_test: Literal["ends", "waits", "not stated"] = optional(
        "A leak during a self-test: ends it, or waits until it is over."
    )
    loss_in_self_test: Literal["ends", "waits", "not stated"] = optional(
        "A lost sensor during a self-test: ends it, or waits until it is over."
    )


class Presses(Form):
    """So many presses, all within a time."""

    presses: Annotated[int, Field(ge=1, le=10)] = needed("How often it is pressed, 1 to 10.")
    within: TimeInterval = optional("From the first press to the last. Needed for more than one press.")


class LongPress(Form):
    """One press of at least a time."""

    press: TimeInterval = needed("At least how long it is pressed.")


def _gesture_of(value: Any) -> str | None:
    if not isinstance(value, dict):
        return None
    known = [get_close_matches(str(key).lower(), ["press", "presses", "within"], 1) for key in value]
    return "#press" if ["press"] in known else "#presses"


Gesture = Annotated[
    Union[Annotated[Presses, Tag("#presses")], Annotated[LongPress, Tag("#press")]],
    Discriminator(
        _gesture_of,
        "which_form",
        "write {presses: 3, within: {nominal: 3 s, tolerance: 200 ms}} "
        "or {press: {nominal: 8 s, tolerance: 300 ms}}",
        {},
    ),
]


class ButtonForm(Form):
    """The service button: what counts as a press, and which gesture does what."""

    press: TimeInterval = needed("Closed (or open between two) for less is no press, for more is one.")
    acts: TimeInterval = needed("How soon the board acts once it can know the gesture.")
    self_test: Gesture = optional("The gesture that starts a self-test.")
    recall: Gesture = optional("The gesture that shows the last fault.")
    clear_faults: Gesture = optional("The gesture that clears stored faults.")
    reset: Gesture = optional("The gesture that resets a latched sensor-fault.")


class LightModes(Form):
    """What the light shows in each mode: `dark`, `steady`, `1 flash`, `2 flashes`, up to `20 flashes`."""

    start_up: CodeOrNot = optional(
        "From the supply until the end of warm-up. Left out: dark.", alias="start-up"
    )
    normal: CodeOrNot = needed("No leak, sensor good.")
    leak_active: CodeOrNot = needed("While the sensor reports a leak.", alias="leak-active")
    post_leak_hold: CodeOrNot = needed("After the leak, while the hold runs.", alias="post-leak-hold")
    sensor_fault: CodeOrNot = optional(
        "While the sensor is lost. May be left out only if no sensor can be lost.", alias="sensor-fault"
    )
    self_test: CodeOrNot = optional(
        "While the board tests itself. Needed where the button starts a self-test.", alias="self-test"
    )


class FlashForm(Form):
    """The maker's times of a flash code."""

    on: StatedOrNot = needed("How long a flash is.")
    off: StatedOrNot = needed("How long it is dark between two flashes of a group.")
    pause: StatedOrNot = needed("How long it is dark between two groups.")


class LightForm(Form):
    """The indicator light."""

    seen: Literal["optical", "lamp"] = optional(
        "optical: by the pick-up. lamp: at the pins of a 24 VAC lamp. Left out: optical."
    )
    modes: LightModes = needed("What it shows in each mode.")
    flash: FlashForm = optional("The times of its codes. Needed where it flashes in any mode.")
    latency: StatedOrNot = needed("From a change of mode until the light begins to show it.")


class ProfileForm(Form):
    """A whole profile."""

    format: Literal["mitbench-profile-1"] = needed("The format of this file.")
    name: Name = needed("The name; equals the file name without .yaml.")
    about: Text = optional("One sentence about the board.")
    supply: Supply = needed("The 24 VAC supply.")
    calls: list[Name] = needed(
        "The thermostat calls that the board has, in the order in which they are exercised.", min_length=1
    )
    outputs: dict[OutputName, OutputForm] = needed("The board's switched terminals.", min_length=1)
    refrigerant: Text = optional(
        "The refrigerant, as in R-32: levels may then be written in ppm. Left out: in %LFL or volts."
    )
    sensors: dict[SensorName, SensorForm] = needed("The refrigerant sensor inputs.", min_length=1)
    timing: TimingForm = needed("The board's timings.")
    light: LightForm = optional("The indicator light. Left out: it is not looked at.")
    rules: RulesForm = optional("The maker's choices.")
    button: ButtonForm = optional("The service button. Left out: the board has none.")
    must_prove: list[Text] = optional(
        "What pass must have shown, NAME or NAME:OUTPUT. Left out: all that the board can show."
    )
    decision: Literal["guarded", "simple"] = optional(
        "How a value near its limit is decided. Left out: guarded."
    )
    wiring: dict[ChannelName, Annotated[int, Field(ge=1, le=999)]] = optional(
        "Channel numbers of the fixture. Left out: the channel of the same name."
    )
