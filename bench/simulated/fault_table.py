"""Every fault that can be simulated, and what a bench has to say about it: data, written before the code.

`expected` is (requirement, output, kind) of the first failed finding of the
procedure that shows the fault, `acceptance` if not said otherwise; what depends on the board is worked out from its
parameters by `bench.simulated.faults`.  Fixture faults have none: they end as
a fault of the bench.  The one exception are dead, stuck or swapped inputs on
board outputs, which look like a fault of the board; the loop-back plug tells.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Row:
    """One kind of fault.

    `where`: what stands behind the colon: None, `output`, `call`, `mode`, `pair`
    (two outputs), `sensor` (of several), `trouble` (a sensor with a trouble contact), `relay`, `input` (a channel of the fixture) or `inputs` (two).  `size`: None,
    `time` or `level`: what may stand behind the equals sign.  `procedure`: the
    built-in one that shows it; what takes `full` or `levels` passes `acceptance`.
    """

    name: str
    kind: str
    where: str | None
    size: str | None
    about: str
    procedure: str = "acceptance"


TABLE = (
    Row("stuck-on", "board", "output", None, "The contact of output {0} is welded: it never opens."),
    Row("stuck-off", "board", "output", None, "Output {0} never comes on."),
    Row("call-dead", "board", "call", None, "The board does not notice the call {0}."),
    Row("crossed", "board", "pair", None, "The outputs {0} and {1} are swapped at the terminals."),
    Row("hold-short", "board", None, "time", "The hold after a leak ends too early by the size."),
    Row("hold-long", "board", None, "time", "The hold after a leak ends too late by the size."),
    Row("no-restart", "board", None, None, "A second leak during the hold does not start the hold afresh."),
    Row("no-release", "board", None, None, "The hold after a leak never ends."),
    Row(
        "passes-new-call",
        "board",
        "output",
        None,
        "A call that comes while a leak or its hold keeps output {0} off is passed.",
    ),
    Row(
        "not-held", "board", "output", None, "In the hold output {0} follows its call instead of staying on."
    ),
    Row("not-released", "board", "output", None, "After the hold output {0} stays on."),
    Row(
        "clears-at-once",
        "board",
        None,
        None,
        "The leak counts as cleared with the first reading below the clear level.",
    ),
    Row("slow-trip", "board", None, "time", "A leak is answered too late by the size."),
    Row("trip-high", "board", None, "level", "The board trips at a level too high by the size."),
    Row("trip-low", "board", None, "level", "The board trips at a level too low by the size.", "levels"),
    Row("clear-high", "board", None, "level", "The board clears at a level too high by the size.", "levels"),
    Row("clear-low", "board", None, "level", "The board clears at a level too low by the size."),
    Row(
        "range-ignored",
        "board",
        None,
        None,
        "A sensor signal out of its range is taken as it stands; only an open or shorted wire is noticed.",
    ),
    Row(
        "loss-ignored", "board", None, None, "A lost sensor goes unnoticed: the board keeps its last reading."
    ),
    Row("loss-ends-mitigation", "board", None, None, "A sensor lost during mitigation ends the mitigation."),
    Row("sensor-ignored", "board", "sensor", None, "A leak at sensor {0} goes unnoticed."),
    Row("trouble-ignored", "board", "trouble", None, "The trouble contact of sensor {0} goes unnoticed."),
    Row(
        "contacts-overlap",
        "board",
        None,
        "time",
        "Both alarm contacts are closed together, longer than the glitch time by the size.",
    ),
    Row("chatter", "board", "output", None, "The contact of output {0} chatters while it should rest."),
    Row("restart-missing", "board", "output", None, "The restart delay of output {0} is not kept."),
    Row(
        "feeds-back",
        "board",
        "call",
        None,
        "While an output is forced on, its voltage comes out at the terminal of its call {0}.",
    ),
    Row("reboots", "board", None, None, "The board restarts once by itself while two outputs are on."),
    Row("loads-supply", "board", None, None, "The board overloads its 24 VAC supply."),
    Row("light-dark", "board", None, None, "The light never comes on."),
    Row("light-stuck", "board", None, None, "The light is lit as long as the board has supply."),
    Row("light-code", "board", "mode", None, "In {0} the light shows the code of another mode."),
    Row("light-miscounts", "board", None, None, "The light flashes once too often in each of its codes."),
    Row("light-late", "board", None, "time", "The light shows a change of mode too late by the size."),
    Row("recall-nothing", "board", None, None, "Asked for the last fault, the light shows nothing.", "full"),
    Row(
        "recall-other",
        "board",
        None,
        None,
        "Asked for the last fault, the light shows the other one.",
        "full",
    ),
    Row("recall-again", "board", None, None, "The light shows the last fault twice instead of once.", "full"),
    Row("clear-ignored", "board", None, None, "The button's gesture does not clear stored faults.", "full"),
    Row("trip-accumulates", "board", None, None, "Leaks too short to trip add up until one trips.", "full"),
    Row("loss-accumulates", "board", None, None, "Losses of the sensor too short to count add up.", "full"),
    Row("clears-between", "board", None, None, "Any level below the trip level counts as clear.", "full"),
    Row(
        "forgets-mitigation",
        "board",
        None,
        None,
        "A supply cut makes the board forget leak and hold.",
        "full",
    ),
    Row(
        "forgets-fault",
        "board",
        None,
        None,
        "A supply cut too short to reset clears a latched fault.",
        "full",
    ),
    Row(
        "takes-bad-crc",
        "board",
        None,
        None,
        "An answer of the Modbus sensor whose CRC is wrong is taken for a good one.",
    ),
    Row(
        "ignores-exception",
        "board",
        None,
        None,
        "An exception that the Modbus sensor answers is ignored: the last reading is kept.",
    ),
    Row(
        "ignores-sensor-fault",
        "board",
        None,
        None,
        "The status bits of the Modbus sensor are not looked at: that it failed goes unnoticed.",
    ),
    Row(
        "bytes-swapped",
        "board",
        None,
        None,
        "The two bytes of the concentration are taken in the wrong order.",
    ),
    Row("scale-wrong", "board", None, None, "The concentration is taken for a tenth of what it is."),
    Row(
        "no-silence",
        "board",
        None,
        None,
        "The next question follows the Modbus sensor's answer at once, without the silence between frames.",
    ),
    Row("reset-ignored", "board", None, None, "The button's gesture does not reset a latched fault."),
    Row("button-dead", "board", None, None, "The board does not notice its service button.", "full"),
    Row("press-too-few", "board", None, None, "One press too few is taken for the gesture.", "full"),
    Row("press-too-short", "board", None, None, "A long press counts a fifth too soon.", "full"),
    Row("self-test-endless", "board", None, None, "The self-test never ends.", "full"),
    Row(
        "self-test-blind", "board", None, None, "A leak or a lost sensor does not end the self-test.", "full"
    ),
    Row("relay-dead", "fixture", "relay", None, "The fixture's relay {0} never closes."),
    Row("relay-stuck", "fixture", "relay", None, "The fixture's relay {0} never opens."),
    Row("input-dead", "fixture", "input", None, "The fixture's input {0} never reads on."),
    Row("input-stuck", "fixture", "input", None, "The fixture's input {0} always reads on."),
    Row("inputs-swapped", "fixture", "inputs", None, "The fixture's inputs {0} and {1} are swapped."),
    Row("signal-drift", "fixture", None, None, "The fixture's sensor signal is not what it was told."),
    Row(
        "bus-busy",
        "fixture",
        None,
        None,
        "Something on the bus of the Modbus sensor keeps it from being idle.",
    ),
    Row(
        "main-shorted",
        "fixture",
        None,
        None,
        "The fixture's main switch passes the supply though its gates read open.",
    ),
    Row("fixture-reboots", "fixture", None, None, "The fixture restarts in the middle of the run."),
    Row("unplugged", "fixture", None, None, "The fixture is unplugged in the middle of the run."),
)
