"""How figures, times, names and verdicts are written for people."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Collection, Sequence

from bench.judge.figures import decimals
from bench.judge.findings import Finding
from bench.trace.records import Count, Value, Voltage
from firmware_ref.parameters import Mode, Output, Parameters, Policy, Sensor

#: What each requirement asks, for a person who has never seen its name.
REQUIREMENTS = {
    "power-up": "At power-up the outputs rest as they must until the board is ready.",
    "follow": "With no leak an output passes its call, on and off, in time.",
    "trip": "On a leak the outputs go to mitigation in time.",
    "blocked": "During mitigation the output stays off, whatever is called.",
    "forced": "During mitigation the output stays on, whatever is called.",
    "clear": "Mitigation goes on until the leak has been gone for its set time.",
    "hold": "After the leak has cleared, mitigation goes on for the set hold, no shorter and no longer.",
    "re-leak": "A leak during the hold starts the hold afresh.",
    "release": "After the hold all outputs follow their calls again, together.",
    "loss": "A dead or unplugged sensor is noticed in time, and the outputs go where they must.",
    "kept-on-loss": "Losing the sensor does not end mitigation.",
    "return": "When the sensor is good again the board leaves sensor-fault in time.",
    "latch": "A latched sensor-fault stays until it is reset.",
    "self-test": "A self-test begins by its gesture, does what it must, and ends in time.",
    "button": "What fits no gesture, or has nothing to do in a mode, does nothing.",
    "restart": "An output stays off for its restart delay, then follows.",
    "supply": "The board keeps running on a good supply and rides through what it must.",
    "level": "The board trips and clears at its levels, and leaves the sensor signal where the bench put it.",
    "light": "The light shows the mode the board is in, and a change of it in time.",
    "recall": "Asked by its gesture, the light shows the code of the last fault once, in time.",
    "contact": "The two alarm contacts are never closed together for longer than the glitch time.",
    "chatter": "An output at rest does not chatter.",
    "backfeed": "The board feeds nothing back into its call terminals.",
}

KINDS = {
    "too-early": "too early",
    "too-late": "too late",
    "missing": "missing",
    "not-allowed": "not allowed",
    "chatter": "chatter",
    "too-low": "too low",
    "too-high": "too high",
}

VERDICTS = {
    "pass": "PASS",
    "fail": "FAIL",
    "inconclusive": "INCONCLUSIVE",
    "bench-fault": "BENCH FAULT",
    "stopped": "STOPPED",
}

#: What the verdict means for the person with the board in hand.
VERDICT_MEANS = {
    "pass": "All that the profile demands was proven on this bench.",
    "fail": "The board did something that its profile does not allow.",
    "inconclusive": "Nothing was decided about the board as a whole.",
    "bench-fault": "The bench could not be trusted. This says nothing about the board.",
    "stopped": "The run was stopped before its end.",
}

_TIMERS = {
    "boot": "boot", "booted": "boot", "warm_up": "warm-up", "warmed_up": "warm-up", "trip": "trip",
    "tripped": "trip", "clear": "clear", "cleared": "clear", "hold": "hold", "hold_over": "hold",
    "loss": "sensor loss", "lost": "sensor loss", "return": "return", "returned": "return",
    "supply_lost": "ride-through", "ride_through": "ride-through",
}  # fmt: skip


#: In the place of limits, where a value was measured that nothing limits.
NO_LIMIT = "not judged"

_FIGURE = re.compile(r"(\d) (%|(?:s|ms|min|V|mV|ppm|times)\b)")


def clean(text: object) -> str:
    """`text` on one line and without control characters: it may come from a file or a command line."""
    return " ".join("".join(c if c.isprintable() else " " for c in str(text)).split())


def seen(finding: Finding) -> str:
    """What was seen, without the limits that stand in columns beside it."""
    return finding.text if finding.limits is None else finding.text.partition("; allowed")[0]


def sentence(text: object) -> str:
    """`text` cleaned, with one full stop at its end."""
    return clean(text).rstrip(".") + "."


def wrapped(text: str, width: int, indent: int = 0, first: str = "") -> list[str]:
    """`text` in lines no wider than `width` (a single longer word excepted); a figure and its unit stay together.

    `first` stands before each line; those after the first are set in by `indent` more.
    """
    lines = textwrap.wrap(
        _FIGURE.sub("\\1\u00a0\\2", text), width, initial_indent=first, subsequent_indent=first + " " * indent,
        break_long_words=False, break_on_hyphens=False,
    )  # fmt: skip
    return [line.replace("\u00a0", " ") for line in lines]


def columns(rows: Sequence[Sequence[str]], left: Collection[int]) -> list[str]:
    """A line for each row, cells below each other; the columns in `left` begin together, all others end together."""
    wide = [max(map(len, column)) for column in zip(*rows, strict=True)]
    return [
        "  ".join(
            f"{cell:<{w}}" if n in left else f"{cell:>{w}}"
            for n, (cell, w) in enumerate(zip(row, wide, strict=True))
        ).rstrip()
        for row in rows
    ]


def timer_words(name: str) -> str:
    """The judge's name of a running timer as people say it."""
    return _TIMERS.get(name, name.replace("_", " "))


def clock_words(seconds: float, tenths: bool = False) -> str:
    """A moment of the run: `0:07`, `12:30`, `1:02:03`, with `tenths` `0:07.3`; negative counts as zero."""
    if tenths:
        whole, part = divmod(round(max(0.0, seconds) * 10), 10)
    else:
        whole, part = int(max(0.0, seconds)), 0
    minutes, secs = divmod(whole, 60)
    hours, minutes = divmod(minutes, 60)
    text = f"{hours}:{minutes:02}:{secs:02}" if hours else f"{minutes}:{secs:02}"
    return f"{text}.{part}" if tenths else text


def duration_words(seconds: float) -> str:
    """A span for reading: `240 ms`, `6.3 s`, `48 s`, `6 min 12 s`."""
    if seconds < 0.9995:
        return f"{max(0.0, seconds) * 1000:.0f} ms"
    if seconds < 9.95:
        return f"{seconds:.1f} s"
    minutes, rest = divmod(round(seconds), 60)
    if not minutes:
        return f"{rest} s"
    return f"{minutes} min {rest} s" if rest else f"{minutes} min"


def number(value: float | None, unit: str, places: int | None = None) -> str:
    """A figure without its unit, to the millisecond, millivolt or hundredth of a %LFL; empty for None.

    `places`: so many decimals instead (`places_of`).
    """
    if value is None:
        return ""
    digits = _digits(unit) if places is None else places
    return f"{round(value, digits) + 0.0:.{digits}f}"  # no sign before a zero


def places_of(finding: Finding) -> int:
    """Decimals with which a finding's value can be told from its limits."""
    usual = _digits(finding.unit)
    if finding.measured is None or finding.limits is None:
        return usual
    return decimals(finding.measured, *finding.limits, usual=usual)


def figure(value: float | None, unit: str, places: int | None = None) -> str:
    """A figure with its unit."""
    return "" if value is None else f"{number(value, unit, places)} {unit}"


def _digits(unit: str) -> int:
    return 2 if unit == "%LFL" else 3


def limits_words(
    limits: tuple[float | None, float | None] | None, unit: str, places: int | None = None
) -> str:
    """`2.000 to 6.000`, `up to 0.250`, `from 5.000`; NO_LIMIT without either; empty where nothing is timed."""
    if limits is None:
        return ""
    if limits == (None, None):
        return NO_LIMIT
    low, high = limits
    if low is None:
        return f"up to {number(high, unit, places)}"
    least = number(low, unit, places)
    return f"from {least}" if high is None else f"{least} to {number(high, unit, places)}"


def margin_words(margin: float | None, unit: str, places: int | None = None) -> str:
    """The margin with its sign; negative is outside the limit."""
    return "" if margin is None else f"{margin:+.{_digits(unit) if places is None else places}f}"


def where(finding: Finding) -> str:
    """The output of a finding, or the whole board."""
    return "board" if finding.output is None else clean(finding.output)


def kind_words(finding: Finding) -> str:
    """What was wrong: `too early`, or the verdict where nothing was."""
    if finding.kind is not None:
        return KINDS.get(finding.kind, finding.kind)
    return {"pass": "right", "fail": "failed"}.get(finding.verdict, "undecided")


def requirement_words(name: str) -> str:
    """One sentence on what a requirement asks; empty for an unknown one."""
    return REQUIREMENTS.get(name, "")


def modes_words(modes: tuple[Mode, ...]) -> str:
    """What the board may be doing: `normal`, `leak-active or post-leak-hold`."""
    return " or ".join(str(m) for m in dict.fromkeys(modes)) or "unknown"


def policy_words(output: Output, modes: tuple[Mode, ...]) -> str:
    """What an output must do in these modes; `either` where they do not agree."""
    policies = {output.modes[m] for m in modes if m in output.modes}
    if len(policies) != 1:
        return "either" if policies else ""
    words = {Policy.FOLLOW: "follow", Policy.OFF: "stay off", Policy.ON: "stay on"}
    if output.kind != "ac":
        words = {Policy.FOLLOW: "follow", Policy.OFF: "open", Policy.ON: "closed"}
    return words[policies.pop()]


def sensor_of(parameters: Parameters, name: str) -> Sensor | None:
    """The sensor that has a terminal of that name, if the profile has one."""
    return next((s for s in parameters.sensors if name in s.terminals), None)


def contact_words(sensor: Sensor | None, terminal: str, value: str) -> str:
    """A signal that is a word, of a plain contact what it says."""
    return (sensor.contact_says(terminal, value) if sensor is not None else None) or value


def signal_words(sensor: Sensor | None, terminal: str, value: Value | None) -> str:
    """A sensor's signal: `open`, `leak`, or `leak  1.310 V = 20.3 %LFL`."""
    if not isinstance(value, Voltage):
        return "" if value is None else contact_words(sensor, terminal, str(value))
    volts = f"count {value.value_uv}" if isinstance(value, Count) else f"{value.value_uv / 1e6:.3f} V"
    if sensor is None or len(sensor.points) < 2:
        return volts
    return f"{level_words(sensor, value.value_uv)}  {volts} = {sensor.level_at(value.value_uv):.1f} %LFL"


def level_words(sensor: Sensor, uv: int) -> str:
    """`clear`, `between` or `leak`: where a level lies against the sensor's two bands."""
    if sensor.trip is None or sensor.clear is None:
        return ""
    beyond = uv > sensor.trip.high_uv if sensor.rising else uv < sensor.trip.low_uv
    below = uv < sensor.clear.low_uv if sensor.rising else uv > sensor.clear.high_uv
    return "leak" if beyond else "clear" if below else "between"


def name_of(plain: object) -> str:
    """The `name` of a profile or procedure as it stands in a header; a dash where there is none."""
    found = plain.get("name") if hasattr(plain, "get") else None
    return clean(found) if found else "-"
