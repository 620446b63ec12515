"""One run from the snapshot to the end record.

However it ends - all steps done, stopped, bench fault, an error of our own -
everything is opened first and the trace gets its end record after that.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from bench.errors import BenchFault, MitbenchError, Stopped
from bench.procedure.plan import plan
from bench.procedure.steps import Procedure
from bench.procedure.words import output_channel
from bench.run.bench import Bench
from bench.run.clock_watch import ClockWatch
from bench.run.executor import Executor
from bench.run.observer import Observer
from bench.run.supply import UnitLoadsSupply
from bench.trace.records import End, Record, Snapshot
from firmware_ref.parameters import Parameters

if TYPE_CHECKING:
    from bench.profile import Profile


def run_session(
    bench: Bench,
    procedure: Procedure,
    profile: Profile,
    *,
    sink: Callable[[Record], None],
    observer: Observer,
    stop: Callable[[], bool],
) -> End:
    """Carry out `procedure` and hand every record to `sink` as it happens; the header is the caller's.

    Returns the end record, whose reason is `complete`, `stopped` or
    `bench-fault`.  Raises ProcedureError before anything is touched.  An error
    that is none of ours to explain is raised again after everything was opened.
    """
    steps = plan(procedure, profile.parameters)

    def write(record: Record) -> None:
        try:
            sink(record)
        except OSError as e:
            raise BenchFault(
                f"the trace cannot be written ({e.strerror or e}); give --out a folder with room"
            ) from None
        observer.record(record)

    reason, text, unexpected = "complete", "", None
    executor = None
    try:
        snapshot = bench.start()
        write(snapshot)
        wrong = unsafe(snapshot, profile.parameters)
        if wrong is not None:
            raise BenchFault(wrong)
        clock = ClockWatch(bench.sample_clock)
        executor = Executor(
            bench, profile.parameters, snapshot, write=write, observer=observer, stop=stop, clock=clock
        )
        executor.run(steps)
    except UnitLoadsSupply as e:
        text = str(e)
    except Stopped as e:
        reason, text = "stopped", str(e)
    except KeyboardInterrupt:
        reason, text = "stopped", "the run was stopped; everything is open"
    except MitbenchError as e:
        reason, text = "bench-fault", str(e)
    except BaseException as e:
        reason, text, unexpected = "bench-fault", f"mitbench itself failed ({type(e).__name__})", e
    finally:
        _open_everything(bench)
    # What followed the last look at the board was not seen, and is not judged.
    end = End(_tick(bench) if executor is None else executor.known_us, reason, text)
    try:
        sink(end)
    except OSError as e:
        if reason != "bench-fault":
            end = End(end.tick_us, "bench-fault", f"the trace cannot be written ({e.strerror or e})")
    observer.record(end)
    if unexpected is not None:
        raise unexpected
    return end


def _open_everything(bench: Bench) -> None:
    """A person who presses Ctrl-C once more must not leave anything energised."""
    while True:
        try:
            bench.safe()
            return
        except KeyboardInterrupt:
            continue


def unsafe(snapshot: Snapshot, parameters: Parameters) -> str | None:
    """What in a snapshot is not as it must be before anything is moved, in one sentence; None if all is.

    The board has no supply then: an AC output that reads on cannot be the
    board's doing.  Contacts may rest either way.
    """
    expected = {"main": "open", "board": "open", "sense.board": "off"}
    expected.update({f"call.{call}": "off" for call in parameters.calls})
    expected.update({"button": "open"} if parameters.button is not None else {})
    expected.update({f"sensor.{t}": "open" for sensor in parameters.sensors for t in sensor.terminals})
    expected.update({output_channel(o.name): "off" for o in parameters.outputs if o.kind == "ac"})
    for ch, wanted in expected.items():
        found = snapshot.values.get(ch)
        if found is None:
            return f"the fixture says nothing about {ch}; check the wiring in the profile"
        if found != wanted:
            return f"{ch} reads {found} before anything was moved, not {wanted}; run `mitbench fixture check`"
    return None


def _tick(bench: Bench) -> int:
    try:
        return bench.now_us()
    except MitbenchError:
        return 0
