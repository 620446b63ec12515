"""The sound firmware passes, and each planted mistake fails by the requirement that was tabled before the code.

SEEDS says how many boards each is tried with; the table holds for every one.
"""

from __future__ import annotations

import functools
import os
from dataclasses import replace
from pathlib import Path

import pytest

from bench.profile import load
from firmware_ref.parameters import Interval, Mode, Restart
from tests.boards import furnace
from tests.firmware_ref.board.core import STORE_BYTES, CoreBoard, Defect, defects
from tests.firmware_ref.board.judged import ACCEPTANCE, judged
from tests.firmware_ref.board.rig import Rig
from tests.firmware_ref.board.test_image import FIT
from tests.judge.direct import Direct

SEEDS = int(os.environ.get("SEEDS", "1"))


def of(procedures: bool) -> list[object]:
    return [
        pytest.param(d, id=d.name)
        for d in defects()
        if d.procedure and (d.procedure != ACCEPTANCE) is procedures
    ]


def found(defect: Defect, seed: int, out: Path) -> tuple[str, str | None]:
    answer = judged(
        defect.profile, out / str(seed), defect=defect.name, procedure=defect.procedure, seed=seed
    )
    assert answer.plain["verdict"] == "fail", answer.plain["reason"]
    first = answer.failed[0]
    return first["requirement"], first["output"]


@pytest.mark.slow
@pytest.mark.parametrize("profile", FIT)
def test_the_sound_firmware_passes_acceptance(profile: str, tmp_path: Path) -> None:
    for seed in range(2 * SEEDS):
        answer = judged(profile, tmp_path / str(seed), seed=seed)
        assert answer.plain["verdict"] == "pass", answer.plain["reason"]
        assert answer.code == 0


@pytest.mark.slow
@pytest.mark.parametrize("defect", of(procedures=False))
def test_acceptance_fails_it_as_tabled(defect: Defect, tmp_path: Path) -> None:
    for seed in range(SEEDS):
        requirement, output = found(defect, seed, tmp_path)
        assert requirement == defect.requirement
        assert output == defect.output or output in (defect.output or "").split()


@pytest.mark.slow
@pytest.mark.parametrize("defect", of(procedures=True))
def test_a_procedure_of_its_own_fails_it_and_lets_the_sound_firmware_be(
    defect: Defect, tmp_path: Path
) -> None:
    for seed in range(SEEDS):
        requirement, output = found(defect, seed, tmp_path)
        assert requirement == defect.requirement
        assert output == defect.output or output in (defect.output or "").split()
        sound = judged(defect.profile, tmp_path / f"sound {seed}", procedure=defect.procedure, seed=seed)
        assert not sound.failed
        whole = defect.procedure == "levels"  # proves all that must be; the others are partial runs
        assert sound.plain["verdict"] == ("pass" if whole else "inconclusive")


@pytest.mark.slow
@pytest.mark.parametrize("defect", of(procedures=True))
def test_acceptance_alone_would_not_have_told(defect: Defect, tmp_path: Path) -> None:
    """Why it has a procedure of its own; where this fails, `acceptance` has come to show more."""
    assert not judged(defect.profile, tmp_path, defect=defect.name).failed


# -- what no procedure of a bench can bring about --------------------------------------------


@pytest.mark.parametrize("defect", ["", "dip-reboots"])
def test_a_dip_shorter_than_the_ride_through(defect: str) -> None:
    parameters = furnace()
    run = Direct(parameters, 3, "nominal")
    run.board = CoreBoard(parameters, seed=3, defect=defect)  # type: ignore[assignment]
    run.sensor("1", 800_000)
    run.supply(True)
    run.wait(13_000_000)
    run.call("Y", True)
    run.call("W", True)
    run.wait(2_000_000)
    run.supply(False)
    run.wait(15_000)
    run.supply(True)
    run.wait(20_000_000)
    failed = [f.requirement for f in run.judge().findings if f.verdict == "fail"]
    assert failed[:1] == (["supply"] if defect else [])


def test_a_torn_record() -> None:
    """A record whose check was not yet written says leak; the one before it, that nothing is to be kept."""
    store = bytearray(b"\xff" * STORE_BYTES)
    store[:7] = bytes([1, 1, 0, 0, 0, 0, 0])
    for defect, mode in (("", Mode.START_UP), ("torn-record", Mode.LEAK_ACTIVE)):
        board = CoreBoard(furnace(), defect=defect)
        board.store = bytes(store)
        rig = Rig(furnace(), board=board).gas("clear").wait(0.1).main(True).wait(1)
        assert rig.mode is mode


@pytest.mark.parametrize("defect", ["", "restart-missing"])
def test_a_restart_delay_that_is_not_kept(defect: str) -> None:
    plain = load("invented-split-furnace").parameters
    delay = Restart(frozenset({"any-off"}), Interval(28_000_000, 32_000_000))
    parameters = replace(plain, outputs=(replace(plain.output("Y"), restart=delay), *plain.outputs[1:]))
    run = Direct(parameters, 5, "nominal")
    run.board = CoreBoard(parameters, seed=5, defect=defect)  # type: ignore[assignment]
    run.sensor("1", 800_000)
    run.supply(True)
    run.wait(60_000_000)
    for on in (True, False, True):
        run.call("Y", on)
        run.wait(5_000_000)
    run.wait(40_000_000)
    failed = [(f.requirement, f.output) for f in run.judge().findings if f.verdict == "fail"]
    assert failed[:1] == ([("restart", "Y")] if defect else [])


# -- each changes what the board does, whoever looks ------------------------------------------


@functools.cache
def told(profile: str, name: str) -> list[tuple[str, bool, int]]:
    """The moves of one board through a leak, a second one in the hold, both losses, dips, cuts and presses, in 0.1 s."""
    parameters = load(profile).parameters
    delay = Restart(frozenset({"any-off"}), Interval(28_000_000, 32_000_000))
    delayed = replace(parameters.output("W"), restart=delay)
    outputs = tuple(delayed if o.name == "W" else o for o in parameters.outputs)
    rig = Rig(replace(parameters, outputs=outputs), defect=name, seed=1)
    for place in range(len(parameters.sensors)):
        rig.gas("clear", place)
    rig.wait(0.1).main(True).wait(26)
    for step in (rig.on, rig.off):
        for call in ("Y", "W", "G"):
            step(call).wait(2)
    rig.on(*(c for c in parameters.calls if c != "G")).wait(35).cut(0.015).wait(12)
    for _ in range(3):
        rig.gas("leak").wait(0.9 if parameters.rules.latching else 1.9).gas("clear").wait(0.5)
    analog = parameters.sensors[0].kind in ("analog", "modbus")
    modbus = parameters.sensors[0].kind == "modbus"
    rig.gas("between" if analog else "clear").wait(8).gas("clear").wait(1)
    rig.gas("leak").wait(8).off("W").wait(1).on("W").wait(1).gas("open").wait(12).gas("leak").wait(9)
    rig.gas("clear").wait(200).gas("leak").wait(8).gas("clear").wait(100)
    rig.gas("between" if analog else "clear").wait(3).gas("clear").wait(100).cut(3).wait(700)
    ways = parameters.sensors[0].lost_by
    for way in sorted(ways if modbus else ways | {"open", "short"}):
        rig.gas(way).wait(12).gas("clear").wait(20).cut(4).wait(26)
        rig.gas("leak").wait(12).gas("clear").wait(100)
        rig.gas("between" if analog else "clear").wait(3).gas("clear").wait(500)
        rig.cut(12).wait(30)
    for place, sensor in enumerate(parameters.sensors[1:], 1):
        rig.gas("leak", place).wait(12).gas("clear", place).wait(500)
        rig.gas(min(sensor.lost_by), place).wait(12).gas("clear", place).wait(400)
    if parameters.button is not None:
        gesture = (0.2, 0.2, 0.2, 0.2, 0.2)
        rig.press(*gesture[:3]).wait(40).press(*gesture).wait(40).press(*gesture).wait(6).gas("leak").wait(40)
        rig.gas("clear").wait(20).press(*gesture).wait(550)
        rig.gas("open").wait(12).gas("clear").wait(20).press(3.5).wait(4).press(4.2).wait(4).cut(3).wait(30)
        rig.press(8.6).wait(4).press(*gesture[:3]).wait(20)
    return [(n, on, round(10 * after)) for n, on, after in [*rig.moves(), *rig.flickers()]]


@pytest.mark.parametrize("defect", [pytest.param(d, id=d.name) for d in defects() if d.name != "torn-record"])
def test_it_changes_what_the_board_does(defect: Defect) -> None:
    assert told(defect.profile, defect.name) != told(defect.profile, "")
