"""A fixture looked at by itself: `fixture check` and `fixture watch`."""

from __future__ import annotations

from collections.abc import Callable, Generator, Iterator
from pathlib import Path

from bench import __version__
from bench.cli.computer import computer_name
from bench.clock import SystemClock
from bench.errors import BenchFault
from bench.fixture import loop_back
from bench.fixture.channels import ChannelTable, load_channels
from bench.fixture.check import (
    check_buses,
    check_error_queue,
    check_main_switch,
    check_relays,
    check_rest,
    check_sensors,
    check_supply,
    compare_clocks,
    phrase,
)
from bench.fixture.dead_man import check_dead_man
from bench.fixture.driver import Fixture
from bench.fixture.plug import load_plug
from bench.judge.clock import HostRate
from bench.records import calibration as records
from bench.report.cautions import SIMULATED
from bench.trace.calibration import Calibration, ClockRate, ComputerRate, RelayTimes, SensorOffsets
from bench.trace.records import Edge, Note, Value, Voltage

#: How long one look for events waits, in us.
_LOOK_US = 250_000


def check_and_record(
    bench: Fixture, folder: Path, plug: bool, computer: ComputerRate | None
) -> Iterator[str]:
    """Lines about a sound fixture, whose calibration record is left in `folder`.

    `plug`: whether the loop-back plug is known to be fitted; else it is looked
    for.  `computer`: the rate of the computer's clock.  What is not looked at
    now, inputs or computer, stays as an earlier record has it.  Raises
    BenchFault with all that is wrong; an earlier record does not hold any more
    then and is put aside.
    """
    identity = bench.identity
    earlier, _ = records.find(folder, identity)
    try:
        record = yield from _checked(bench, plug, computer, earlier)
    except BenchFault as wrong:
        aside = records.void(folder, identity.serial)
        told = f"; its calibration record does not hold any more, and is now {aside}" if aside else ""
        raise BenchFault(phrase(wrong) + told) from None
    yield f"calibration record: {records.keep(folder, record)}"


def _checked(
    bench: Fixture, plug: bool, computer: ComputerRate | None, earlier: Calibration | None
) -> Generator[str, None, Calibration]:
    table = load_channels()
    who = bench.identity
    now = SystemClock().wall().astimezone().isoformat(timespec="seconds")
    yield f"{who.maker} {who.model}, serial {who.serial}, firmware {who.firmware}"
    if who.simulated:
        yield SIMULATED
    relays, sensors = yield from _one_at_a_time(bench, table)
    inputs: tuple[int, ...] = ()
    plugged = ""
    if plug or loop_back.is_fitted(bench, table):
        found = yield from _plugged(bench, table)
        seen = {r.ch: r for r in found.relays}
        relays = [seen.get(r.ch, r) for r in relays]
        inputs, plugged = tuple(sorted(found.inputs)), now
    elif earlier is not None and earlier.plugged:
        inputs, plugged = earlier.inputs, earlier.plugged
        yield f"no loop-back plug found; it covered {len(inputs)} inputs when it was fitted last, {plugged}"
    missed = loop_back.unreached(table, set(inputs))
    if missed:
        yield f"not covered without the loop-back plug (if it is fitted, write --plug): {', '.join(missed)}"
    yield from _times(relays)
    if computer is None and earlier is not None:
        computer = earlier.on_computer(computer_name()).computer
    rate = yield from _silence_and_clock(bench, table, computer)
    return Calibration(
        fixture=who.as_json(),
        simulated=who.simulated,
        created=now,
        mitbench=__version__,
        clock=rate,
        relays=tuple(relays),
        sensors=tuple(sensors),
        inputs=inputs,
        plugged=plugged,
        computer=computer,
    )


def _one_at_a_time(
    bench: Fixture, table: ChannelTable
) -> Generator[str, None, tuple[list[RelayTimes], list[SensorOffsets]]]:
    """Everything that needs no plug and energises nothing."""
    waited = check_error_queue(bench)
    yield f"error queue works; {f'it held {waited}' if waited else 'it was empty'}"
    snapshot = bench.start()
    yield "self-test passed; everything is open"
    _raise(check_rest(snapshot, table))
    yield f"{len(snapshot.values)} channels read; nothing reads on at rest but the source"
    yield f"the 24 V source gives {check_supply(bench, table):.1f} V"
    moved = [*check_relays(bench, table), *check_sensors(bench, table)]
    _raise([m for m in moved if isinstance(m, str)] + list(check_buses(bench, table)))
    check_main_switch(bench, table)
    yield "the main switch keeps the source away from the board's side"
    relays = [m for m in moved if isinstance(m, RelayTimes)]
    sensors = [m for m in moved if isinstance(m, SensorOffsets)]
    yield f"{len(relays)} relays move and read back, one at a time: {', '.join(r.ch for r in relays)}"
    worst = max(abs(uv) for s in sensors for uv in (*s.ahead_uv, *s.behind_uv))
    yield (
        f"{len(sensors)} sensor signals are what they are told, on both sides of their resistors, "
        f"within {worst / 1e3:.1f} mV"
    )
    yield "the bus is idle, and the sensor on it is what it is told"
    return relays, sensors


def _plugged(bench: Fixture, table: ChannelTable) -> Generator[str, None, loop_back.LoopBack]:
    yield "the loop-back plug is fitted: each relay is closed with both switches, one at a time"
    found = loop_back.check_inputs(bench, table, load_plug(table))
    _raise(found.wrong)
    yield f"{len(found.inputs)} inputs come and go with their relay, and with no other"
    return found


def _silence_and_clock(
    bench: Fixture, table: ChannelTable, computer: ComputerRate | None
) -> Generator[str, None, ClockRate]:
    dead_s = check_dead_man(bench, table)
    yield (
        f"dead man: everything opened {dead_s:.2f} s after the last byte, and the error queue says so"
        if dead_s is not None
        else "dead man: not tried; the time of this simulated fixture stands still while nobody asks"
    )
    bench.start()
    yield "comparing the fixture's clock with the computer's for a minute"
    rate = compare_clocks(bench, None if computer is None else HostRate(computer.ppm, computer.within_ppm))
    yield f"the fixture's clock runs {rate.ppm:+.0f} ppm, known to {rate.within_ppm:.0f} ppm"
    if computer is not None:
        yield f"the clock of this computer, as measured, runs {computer.ppm:+g} ppm within {computer.within_ppm:g} ppm"
    bench.check_errors()
    return rate


def _raise(wrong: list[str]) -> None:
    if wrong:
        raise BenchFault("; ".join(wrong))


def _times(relays: list[RelayTimes]) -> Iterator[str]:
    slow = [r for r in relays if r.ch != "main"]  # that one is made of transistors
    for what, spreads in (
        ("operate", [r.operate_us for r in slow]),
        ("release", [r.release_us for r in slow]),
    ):
        least, most = min(s.least for s in spreads) / 1e3, max(s.most for s in spreads) / 1e3
        spread = max(s.sd for s in spreads) / 1e3
        bound = max(s.bound for s in spreads) / 1e3
        yield (
            f"relays {what} in {least:.1f} to {most:.1f} ms, each known to {bound:.1f} ms; "
            f"standard deviation of one at most {spread:.1f} ms"
        )


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
