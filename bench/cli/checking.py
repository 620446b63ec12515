"""A fixture looked at with nothing energised: `fixture check` and `fixture watch`."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from bench.fixture.channels import load_channels
from bench.fixture.check import check_relays, check_supply
from bench.fixture.driver import Fixture
from bench.report.cautions import SIMULATED
from bench.trace.records import Edge, Note, Value, Voltage

#: How long one look for events waits, in us.
_LOOK_US = 250_000


def checked(bench: Fixture) -> Iterator[str]:
    """Lines about a sound fixture; raises BenchFault at the first thing that is wrong."""
    who = bench.identity
    yield f"{who.maker} {who.model}, serial {who.serial}, firmware {who.firmware}"
    if who.simulated:
        yield SIMULATED
    snapshot = bench.start()
    yield "self-test passed; everything is open"
    table = load_channels()
    volts = check_supply(bench, table)
    yield f"the 24 VAC source gives {volts:.1f} V"
    relays = list(check_relays(bench, table.wiring, table))
    yield f"{len(relays)} relays move and read back, one at a time: {', '.join(relays)}"
    resting = [f"{ch} {_said(v)}" for ch, v in snapshot.values.items() if _said(v) not in ("off", "open")]
    yield f"{len(snapshot.values)} channels read; at rest all are off or open but {', '.join(resting) or 'none'}"


def watched(bench: Fixture, stop: Callable[[], bool]) -> Iterator[str]:
    """A line for each event, until `stop` says so; begins with what every channel reads."""
    snapshot = bench.start()
    for ch, value in snapshot.values.items():
        yield f"{0:10.3f} s  {ch:<12} {_said(value)}"
    while not stop():
        for record in bench.poll(_LOOK_US):
            if isinstance(record, Edge):
                at_s = (record.latest_us - snapshot.tick_us) / 1e6
                yield f"{at_s:10.3f} s  {record.ch:<12} {record.value}"
            elif isinstance(record, Note):
                yield f"{(record.tick_us - snapshot.tick_us) / 1e6:10.3f} s  {record.text}"


def _said(value: Value) -> str:
    return f"{value.value_uv / 1e6:.3f} V" if isinstance(value, Voltage) else value
