"""The command itself over both images: `mitbench run` and `cosim://`."""

from __future__ import annotations

import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest

from bench.trace.file import read_trace
from bench.trace.records import Edge
from tests.cosim import opened, toolchain
from tests.cosim.command import in_the_circuit
from tests.cosim.host import PROFILE
from tests.cosim.peer import CosimPeer
from tests.cosim.simulator import BY_BROWN_OUT, BY_PIN, FLIP, MS, TO_CORE, TO_HOST, S
from tests.cosim.wiring import FIXTURE
from tests.end_to_end.command import run_board
from tests.firmware_ref.board.core import defects

#: Power-up, calls, and a leak: what takes under a minute of board time.
SHORT = """
format: mitbench-procedure-1
name: short
about: Power-up, calls and a leak.
steps:
  - sensor.1: clear
  - {board: closed, main: closed}
  - wait: {timer: warm_up, past: max}
  - {call.Y: on, call.W: on}
  - wait: {timer: follow, past: max}
  - call.W: off
  - wait: {timer: follow, past: max}
  - sensor.1: leak
  - wait: {timer: trip, past: max}
"""

#: The fixture's button relay is on the board's button: three presses, and the outputs of the self-test.
BUTTON = """
format: mitbench-procedure-1
name: button
about: A self-test by the service button.
steps:
  - sensor.1: clear
  - {board: closed, main: closed}
  - wait: {timer: warm_up, past: max}
  - call.Y: on
  - wait: {timer: follow, past: max}
  - button: self-test
  - wait: {timer: button, past: max}
"""


class Run:
    """One run of the short procedure; `prepare` is given the peer before the host gets it."""

    def __init__(self, out: Path, keys: str = "", prepare: Callable[[CosimPeer], None] | None = None) -> None:
        procedure = out / "short.yaml"
        procedure.write_text(SHORT, "utf-8")
        opened.state.prepare[:] = [prepare] if prepare else []
        try:
            with in_the_circuit():
                answer = run_board(
                    PROFILE, f"cosim://?profile={PROFILE}&{keys}", out, "--procedure", str(procedure)
                )
        finally:
            opened.state.prepare.clear()
        self.code, self.judged, self.failed = answer.code, answer.plain, answer.failed
        assert opened.state.peer is not None
        self.circuit = opened.state.peer.circuit

    def left_closed(self) -> list[str]:
        poles = self.circuit.poles
        return [p for p in poles if p.startswith("call.") and self.circuit.simulator.pole_closed(poles[p])]


def test_a_good_board_is_not_failed(tmp_path: Path) -> None:
    run = Run(tmp_path, "seed=1")
    assert run.failed == []
    assert run.code == 3  # what a short procedure does not reach is not proven
    proven = {(f["requirement"], f["output"]) for f in run.judged["findings"] if f["verdict"] == "pass"}
    assert {("follow", "Y"), ("follow", "W"), ("trip", "Y"), ("trip", "G")} <= proven
    assert run.judged["simulated"] is False
    assert run.left_closed() == []


def test_a_defect_is_found(tmp_path: Path) -> None:
    run = Run(tmp_path, "seed=1&defect=call-misread")
    assert run.code == 1
    assert (run.failed[0]["requirement"], run.failed[0]["output"]) == ("follow", "W")


@pytest.mark.parametrize(("defect", "verdict"), [("", "pass"), ("&defect=button-dead", "fail")])
def test_the_button_is_pressed_and_answered(tmp_path: Path, defect: str, verdict: str) -> None:
    profile, procedure = "invented-air-handler", tmp_path / "button.yaml"
    procedure.write_text(BUTTON, "utf-8")
    with in_the_circuit():
        url = f"cosim://?profile={profile}&seed=1{defect}"
        answer = run_board(profile, url, tmp_path, "--procedure", str(procedure))
    found = {f["output"]: f["verdict"] for f in answer.plain["findings"] if f["requirement"] == "self-test"}
    assert found == {"Y": verdict, "G": verdict}


def reset(peer: CosimPeer) -> None:
    peer.plan(15 * S, lambda: peer.circuit.simulator.core_reset(FIXTURE, BY_PIN))


def brown_out(peer: CosimPeer) -> None:
    sim = peer.circuit.simulator
    peer.plan(15 * S, lambda: sim.core_set_power(FIXTURE, False, 0))
    peer.plan(15 * S + 20 * MS, lambda: sim.core_set_power(FIXTURE, True, BY_BROWN_OUT))


def hang(peer: CosimPeer) -> None:
    peer.plan(15 * S, lambda: peer.circuit.simulator.poke(FIXTURE, 0x73, 0))


def unplug(peer: CosimPeer) -> None:
    peer.plan(15 * S, peer.unplug)


def weld(peer: CosimPeer) -> None:
    pole = peer.circuit.poles["call.W/second"]
    peer.plan(15 * S, lambda: peer.circuit.simulator.pole_force(pole, 1))
    peer.plan(15 * S, lambda: peer.circuit.simulator.pole_force(peer.circuit.poles["call.W"], 1))


def flood(peer: CosimPeer) -> None:
    """More edges than the ring holds, within half a second."""
    net = peer.circuit.nets["light/sense"]
    for n in range(600):
        peer.plan(15 * S + n * MS // 2, lambda n=n: peer.circuit.simulator.net_force(net, n % 2))


@pytest.mark.parametrize("trouble", [reset, brown_out, hang, unplug, weld, flood], ids=lambda t: t.__name__)
def test_trouble_in_mid_run_is_a_fault_of_the_bench(
    tmp_path: Path, trouble: Callable[[CosimPeer], None]
) -> None:
    run = Run(tmp_path, "seed=2", trouble)
    assert run.code == 4, run.judged["reason"]
    assert run.judged["verdict"] == "bench-fault"
    if trouble is not weld:
        assert run.left_closed() == []


def test_damaged_bytes_cost_a_retry_and_no_verdict(tmp_path: Path) -> None:
    def damage(peer: CosimPeer) -> None:
        for position in range(900, 9_000, 700):
            peer.circuit.simulator.link_damage(TO_CORE, position, 1, FLIP, 0x04)
            peer.circuit.simulator.link_damage(TO_HOST, position, 1, FLIP, 0x10)

    run = Run(tmp_path, "seed=1", damage)
    assert (run.code, run.failed) == (3, [])


def test_ticks_that_wrap_in_mid_run(tmp_path: Path) -> None:
    def near_the_wrap(peer: CosimPeer) -> None:
        # As if it had been on for 71 min: its timer's wraps at 2 MHz, 2^17 of which are 2^32 us.
        wraps = toolchain.address_of(toolchain.fixture_image(), "wraps")
        peer.plan(100 * MS, lambda: peer.circuit.simulator.poke(FIXTURE, wraps, (1 << 17) - 430, 4))

    run = Run(tmp_path, "seed=1", near_the_wrap)
    assert (run.code, run.failed) == (3, [])
    ticks = [
        record.latest_us
        for record in read_trace(Path(run.judged["trace"])).records
        if isinstance(record, Edge)
    ]
    assert ticks[0] < 1 << 32 < ticks[-1]


@pytest.mark.parametrize(("keys", "told"), [("defect=none-such", "defects.csv"), ("seeds=1", "the keys are")])
def test_a_url_that_asks_for_what_is_not_there(tmp_path: Path, keys: str, told: str) -> None:
    with in_the_circuit():
        answer = run_board(PROFILE, f"cosim://?{keys}", tmp_path)
    assert answer.code == 2
    assert told in answer.err


def test_the_defects_that_make_lists_are_those_of_the_table() -> None:
    listed = subprocess.run(
        ["make", "-s", "cosim-defects"], cwd=toolchain.ROOT, capture_output=True, text=True, check=True
    )
    assert listed.stdout.split() == [defect.name for defect in defects()]
