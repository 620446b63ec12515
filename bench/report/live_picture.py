"""What the live view draws: one screen from the present state, for any size and without relying on colour."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from rich.text import Text

from bench.judge.findings import Finding
from bench.report import wording
from bench.report.cautions import SIMULATED
from bench.report.judging import Judging
from bench.report.watched import Watched
from bench.trace.records import Header
from firmware_ref.parameters import Parameters

#: From this height on there is room for empty rows.
ROOMY = 22
#: Widest screen that is used; wider ones stay empty on the right.
WIDEST = 100
LABEL = 11
COLUMN = 11


@dataclass(slots=True)
class State:
    """All that is shown.  `step`: index from 0, total, text."""

    header: Header
    parameters: Parameters
    watched: Watched
    judge: Judging
    step: tuple[int, int, str] | None = None
    note: str = ""
    asked: str = ""


def picture(state: State, width: int, height: int) -> Text:
    """The screen, cut to `width` columns and at most `height` - 1 rows."""
    width = max(20, min(width, WIDEST))
    rows = [
        *_head(state, width),
        *_mode(state),
        *_terminals(state, width),
        *_progress(state, width),
    ]
    if height < ROOMY:
        rows = [row for row in rows if row.plain.strip(" ─")]
    rows += _findings(state.judge.findings, max(1, height - len(rows) - (3 if height >= ROOMY else 2)))
    if height >= ROOMY:
        rows.append(_row("", "Ctrl-C stops the run and opens everything.", "dim"))
    for row in rows:
        row.truncate(width, overflow="ellipsis")
    return Text("\n").join(rows[: max(1, height - 1)])


def _row(label: str, text: str, style: str = "") -> Text:
    return Text.assemble((f"{label:<{LABEL}}", "dim"), (text, style))


def _head(state: State, width: int) -> list[Text]:
    header = state.header
    left = f"{wording.name_of(header.profile)}, {wording.name_of(header.procedure)}"
    unit = wording.clean(header.unit_under_test or "")
    head = Text(left, style="bold")
    if unit and len(left) + len(unit) + 7 <= width:
        head.append(f"{f'unit {unit}':>{width - len(left)}}")
    rows = [head]
    if header.simulated:
        rows.append(Text(SIMULATED, style="bold"))
    return [*rows, Text("─" * width, style="dim")]


def _mode(state: State) -> list[Text]:
    watched, modes = state.watched, state.judge.modes
    rows = [_row("expected", wording.modes_words(modes), "bold"), _row("timer", _timer(state))]
    rows.append(_row("supply", watched.supply or "not read yet"))
    for name, value in watched.sensors.items():
        words = wording.signal_words(wording.sensor_of(state.parameters, name), name, value)
        rows.append(_row(f"sensor {name}"[: LABEL - 1], words or "not read yet"))
    if state.parameters.light is not None:
        rows.append(_row("light", watched.light or "not read yet"))
    return [*rows, Text()]


def _timer(state: State) -> str:
    """The timer that ends first, and what is left of it."""
    tick_us = state.watched.tick_us
    ends = [(n, low, high) for n, low, high in state.judge.running if high is None or high > tick_us]
    if not ends:
        return "none is running"
    name, low_us, high_us = min(ends, key=lambda e: e[1] if e[2] is None else e[2])
    words = wording.timer_words(name)
    least = wording.duration_words(max(0, low_us - tick_us) / 1e6)
    if high_us is None:
        return f"{words}: {least} left at least" if low_us > tick_us else f"{words}: may end at any time"
    most = wording.duration_words((high_us - tick_us) / 1e6)
    if low_us <= tick_us:
        return f"{words}: may end now, in {most} at the latest"
    return f"{words}: {least} to {most} left" if least != most else f"{words}: {least} left"


def _terminals(state: State, width: int) -> list[Text]:
    """Calls over outputs, one column for each output; calls without an output come last."""
    outputs, modes = state.parameters.outputs, state.judge.modes
    watched = state.watched
    columns: list[tuple[str, str, str, str]] = []
    for o in outputs:
        call = "" if o.call is None else watched.calls.get(o.call) or "?"
        columns.append((o.name, call, watched.outputs.get(o.name) or "?", wording.policy_words(o, modes)))
    served = {o.call for o in outputs}
    columns += [(c, v or "?", "", "") for c, v in watched.calls.items() if c not in served]
    a_row = max(1, (width - LABEL) // COLUMN)
    rows: list[Text] = []
    for begin in range(0, len(columns), a_row):
        part = columns[begin : begin + a_row]
        rows.append(_cells("", [c[0] for c in part], "bold"))
        rows.append(_cells("call", [c[1] for c in part]))
        rows.append(_cells("output", [c[2] for c in part]))
        rows.append(_cells("must", [c[3] for c in part], "dim"))
    return [*rows, Text()]


def _cells(label: str, cells: Sequence[str], style: str = "") -> Text:
    row = Text(f"{label:<{LABEL}}", style="dim")
    for cell in cells:
        live = "bold reverse" if cell in ("on", "closed") and not style else style
        row.append(cell, style=live)
        row.append(" " * max(1, COLUMN - len(cell)))
    return row


def _progress(state: State, width: int) -> list[Text]:
    rows = []
    if state.step is not None:
        index, total, text = state.step
        rows.append(_row("step", f"{index + 1} of {total}  {text}"))
    whole_s = state.header.dry_run.get("board_seconds")
    done_s = state.watched.elapsed_s
    figures = wording.clock_words(done_s)
    bar = ""
    if isinstance(whole_s, (int, float)) and whole_s > 0:
        whole_s = max(float(whole_s), done_s)
        figures = f"{figures} of about {wording.clock_words(whole_s)}"
        cells = max(0, min(40, width - LABEL - len(figures) - 2))
        full = int(cells * done_s / whole_s)
        bar = "█" * full + "░" * (cells - full) + "  "
    rows.append(_row("board time", f"{bar}{figures}"))
    if state.asked:
        rows.append(_row("DO NOW", f"{state.asked} Press Enter when it is done.", "bold reverse"))
    elif state.note:
        rows.append(_row("note", state.note))
    return [*rows, Text()]


def _findings(findings: Sequence[Finding], room: int) -> list[Text]:
    """The counts, then the latest of what failed or was left open, as many as there is room for."""
    counts = {v: sum(f.verdict == v for f in findings) for v in ("pass", "fail", "inconclusive")}
    head = (
        f"{counts['pass']} right, {counts['fail']} failed, {counts['inconclusive']} undecided (provisional)"
    )
    rows = [_row("findings", head)]
    told = [f for f in findings if f.verdict != "pass"] or list(findings[-3:])
    for finding in told[-(room - 1) :] if room > 1 else []:
        word = {"pass": "right", "fail": "FAIL"}.get(finding.verdict, "open")
        style = {"pass": "dim", "fail": "bold red"}.get(finding.verdict, "yellow")
        at = wording.clock_words(finding.at_s, tenths=True)
        rows.append(
            Text.assemble(
                (f"{at:>9} ", "dim"),
                (f"{word:<5} ", style),
                f"{finding.requirement}: {wording.clean(finding.text)}",
            )
        )
    return rows
