"""One run from an order to its result: here the rooms are wired together.

The order of things: the procedure is made exact and carried out on paper, the
link is opened, the trace gets its header, the session runs with every record
going to the trace and to whoever watches, and the verdict is one pass over
the closed trace as read back from the file.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from bench import __version__
from bench.cli.computer import computer_name
from bench.cli.naming import new_trace
from bench.cli.opening import find_fixture, open_fixture
from bench.cli.sim import is_simulated
from bench.cli.stopping import StopSwitch
from bench.cli.trying import procedure_for
from bench.cli.watching import Watch
from bench.clock import SystemClock
from bench.errors import BenchFault
from bench.judge.findings import Judgement
from bench.judge.judge import judge_trace
from bench.profile import Profile
from bench.records.calibration import find as find_record
from bench.records.results import append_result
from bench.report.page import write_page
from bench.report.repeated import Repeated, repeated
from bench.run.bench import Identity
from bench.run.dry_run import dry_run
from bench.run.session import run_session
from bench.trace.calibration import Calibration
from bench.trace.file import read_trace
from bench.trace.records import Header


@dataclass(frozen=True, slots=True)
class Order:
    """What the person asked for.  `url`: where the fixture is; None: look for one."""

    profile: Profile
    procedure: str
    url: str | None
    out: Path
    unit: str | None = None
    operator: str | None = None
    repeat: int | None = None


@dataclass(frozen=True, slots=True)
class Result:
    """What came of it.

    `files`: (what it is, where it is) of each file written.  `told`: sentences
    about files that could not be written as wished.  `repeated`: how repeated
    timings scatter, where the procedure asks for it.
    """

    header: Header
    judgement: Judgement
    trace: Path | None = None
    files: tuple[tuple[str, str], ...] = ()
    told: tuple[str, ...] = ()
    repeated: tuple[Repeated, ...] = ()


def carry_out(order: Order, watch: Watch) -> Result:
    """Runs and judges.

    Raises ProcedureError or UsageError before anything is energised; whatever
    goes wrong on the bench is in the result.
    """
    parameters = order.profile.parameters
    procedure = procedure_for(order.profile, order.procedure, order.repeat)
    planned = {"procedure": procedure.as_json(), "dry_run": dry_run(procedure, order.profile, judge_trace)}
    with StopSwitch() as stop:
        try:
            bench = open_fixture(find_fixture() if order.url is None else order.url, order.profile)
        except BenchFault as e:
            unseen = Judgement("bench-fault", str(e), (), (), (), (), 0.0, parameters.decision)
            return Result(_header(order, planned, None), unseen)
        try:
            record, complaint = find_record(order.out, bench.identity)
            header = _header(order, planned, bench.identity, record)
            writer = new_trace(order.out, header.created, order.unit, order.profile.name)
            try:
                writer.write(header)
                with watch(header) as observer:
                    run_session(
                        bench, procedure, order.profile, sink=writer.write, observer=observer, stop=stop
                    )
            finally:
                writer.close()
        finally:
            bench.close()
    return _judged(order, writer.path, [] if complaint is None else [complaint])


def _judged(order: Order, path: Path, told: list[str]) -> Result:
    parameters = order.profile.parameters
    trace = read_trace(path)
    judgement = judge_trace(trace, parameters, live=True)
    files = [("trace", str(path))]
    page = path.with_suffix(".html")
    try:
        write_page(page, trace, judgement, parameters, path.name)
        files.append(("page", str(page)))
    except OSError as e:
        told.append(f"{page}: the page could not be written ({e.strerror or e})")
    results = order.out / "results.csv"
    complaint = append_result(results, trace.header, judgement, path)
    files.append(("results", str(results)))
    if complaint is not None:
        told.append(complaint)
    return Result(trace.header, judgement, path, tuple(files), tuple(told), tuple(repeated(trace, judgement)))


def _header(
    order: Order, planned: Mapping[str, Any], identity: Identity | None, record: Calibration | None = None
) -> Header:
    """The first record of the trace; `identity` None where the fixture never answered, `record` its calibration."""
    profile = order.profile
    return Header(
        profile=profile.data,
        profile_sha256=profile.sha256,
        wiring=profile.wiring,
        simulated=identity.simulated if identity else is_simulated(order.url or ""),
        speed=identity.speed if identity else None,
        created=SystemClock().wall().astimezone().isoformat(timespec="seconds"),
        mitbench=__version__,
        fixture=identity.as_json() if identity else {},
        unit_under_test=order.unit,
        operator=order.operator,
        calibration={} if record is None else record.on_computer(computer_name()).as_json(),
        **planned,
    )
