"""What all checks share: values, sheets, the list of checks, and sums over what ngspice gives."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Sequence

from hardware.schematic.sheet import Sheet, read_sheets, read_values
from hardware.schematic.spice import node

VALUES = read_values()
SHEETS = {sheet.name.split("-", 1)[1]: sheet for sheet in read_sheets()}
ROOT2 = math.sqrt(2)
FRESH, AGED = VALUES["opto.ratio_most"].value, VALUES["opto.ratio_least"].value * VALUES["opto.aged"].value

Span = tuple[float, float]
CHECKS: dict[str, Callable[[], Span]] = {}


def check(key: str) -> Callable[[Callable[[], Span]], Callable[[], Span]]:
    def keep(function: Callable[[], Span]) -> Callable[[], Span]:
        assert key not in CHECKS
        CHECKS[key] = function
        return function

    return keep


def net(sheet: Sheet, ref: str, pin: str) -> str:
    return node(sheet.pin_nets()[ref, pin])


def low(key: str) -> float:
    return VALUES[key].least()


def high(key: str) -> float:
    return VALUES[key].most()


def squared(time: Sequence[float], amps: Sequence[float]) -> float:
    """A current's square, summed over time."""
    return sum((b - a) * i * i for a, b, i in zip(time, time[1:], amps, strict=False))


def mean(rows: Sequence[tuple[float, float]]) -> float:
    """Over (time, value)."""
    area = sum((b[0] - a[0]) * (a[1] + b[1]) / 2 for a, b in itertools.pairwise(rows))
    return area / (rows[-1][0] - rows[0][0])
