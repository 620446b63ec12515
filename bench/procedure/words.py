"""The words of procedures: channels, positions, and what is said to the person."""

from __future__ import annotations

from bench.trace.records import Count, Value, Voltage
from firmware_ref.parameters import Parameters

#: The fixture presses so often with one command, for so long at most (hardware/PROTOCOL.md).
MOST_PRESSES, LONGEST_PRESS_US = 10, 60_000_000
#: A relay takes up to 10 ms to close and to open: shorter than this it may not have closed at all; ours.
SHORTEST_PRESS_US = 20_000


def level_words(channel: str) -> tuple[str, str]:
    """The two positions of a switch or a call."""
    return ("closed", "open") if channel in ("main", "board") else ("on", "off")


def output_channel(name: str) -> str:
    """The channel on which an output is seen; alarm contacts carry their own name."""
    return name if name.startswith("alarm.") else f"out.{name}"


def say_us(us: int) -> str:
    """A duration rounded for reading: `296 ms`, `6.3 s`, `6 min 12.6 s`."""
    if us < 1_000_000:
        return f"{us / 1000:.0f} ms"
    minutes, rest = divmod(us, 60_000_000)
    seconds = f"{rest / 1e6:.1f}".removesuffix(".0")
    if not minutes:
        return f"{seconds} s"
    return f"{minutes} min {seconds} s" if rest >= 50_000 else f"{minutes} min"


def say_level(parameters: Parameters, channel: str, word: str, value: Value) -> str:
    """What a channel is brought to: `on`, or `leak (20.25 %LFL, 1.310 V)`."""
    if not isinstance(value, Voltage):
        return word
    if isinstance(value, Count) and word[:1].isdigit():
        return word
    sensor = next(s for s in parameters.sensors if f"sensor.{s.name}" == channel)
    level = f"{sensor.level_at(value.value_uv):.2f} %LFL"
    return (
        f"{word} ({level})" if isinstance(value, Count) else f"{word} ({level}, {value.value_uv / 1e6:.3f} V)"
    )
