"""SCPI error numbers, their texts, and the event bit each sets: data.

Numbers and texts are those of SCPI-1999 volume 2, chapter 21.8; the bits those
of IEEE 488.2, 11.5.1.
"""

from __future__ import annotations

TEXTS = {
    0: "No error",
    -100: "Command error",
    -101: "Invalid character",
    -102: "Syntax error",
    -103: "Invalid separator",
    -104: "Data type error",
    -105: "GET not allowed",
    -108: "Parameter not allowed",
    -109: "Missing parameter",
    -110: "Command header error",
    -113: "Undefined header",
    -114: "Header suffix out of range",
    -131: "Invalid suffix",
    -138: "Suffix not allowed",
    -141: "Invalid character data",
    -151: "Invalid string data",
    -200: "Execution error",
    -221: "Settings conflict",
    -222: "Data out of range",
    -224: "Illegal parameter value",
    -300: "Device-specific error",
    -310: "System error",
    -321: "Out of memory",
    -330: "Self-test failed",
    -350: "Queue overflow",
    -360: "Communication error",
    -363: "Input buffer overrun",
    -400: "Query error",
    -410: "Query INTERRUPTED",
    -420: "Query UNTERMINATED",
    -430: "Query DEADLOCKED",
    -440: "Query UNTERMINATED after indefinite response",
    -500: "Power on",
}

OPERATION_COMPLETE = 1
QUERY_ERROR = 4
DEVICE_ERROR = 8
EXECUTION_ERROR = 16
COMMAND_ERROR = 32
POWER_ON = 128


class ScpiError(Exception):
    """A command cannot be understood or carried out.  `detail` goes behind the text, after a semicolon."""

    def __init__(self, number: int, detail: str = "") -> None:
        super().__init__(entry(number, detail))
        self.number = number
        self.detail = detail


def entry(number: int, detail: str = "") -> str:
    """An error as the queue gives it out: `-113,"Undefined header"`."""
    text = f"{TEXTS[number]};{detail}" if detail else TEXTS[number]
    doubled = text.replace('"', '""')
    return f'{number},"{doubled}"'


def event_bit(number: int) -> int:
    """Bit of the standard event register that an error sets."""
    for low, bit in (
        (-199, COMMAND_ERROR),
        (-299, EXECUTION_ERROR),
        (-399, DEVICE_ERROR),
        (-499, QUERY_ERROR),
        (-599, POWER_ON),
    ):
        if low <= number <= low + 99:
            return bit
    return DEVICE_ERROR if number > 0 else 0
