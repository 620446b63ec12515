"""The simulated fixture: stamps that contain the truth, limits that hold, and its own errors within their bounds."""

from __future__ import annotations

import random

import pytest

from bench.fixture.channels import load_channels
from bench.scpi import blocks
from bench.scpi.crc import unsealed
from bench.simulated.board import TerminalChange
from bench.simulated.fixture import SimulatedFixture
from bench.simulated.ring import CAPACITY, IN_A_BLOCK, Ring
from bench.simulated.ticks import DRIFT_PPM, RATE_PPM, Resonator
from tests.boards import furnace


class Wire:
    """A board that is a piece of wire: out.Y follows call.Y at once; it keeps what it was told."""

    feeds_back: frozenset[str] = frozenset()

    def __init__(self, drops: bool = False) -> None:
        self.told: list[tuple[str, object, int]] = []
        self._changes: list[TerminalChange] = []
        self._drops, self._supplied = drops, False

    @property
    def drops_supply(self) -> bool:
        return self._drops and self._supplied

    def supply(self, on: bool, at_us: int) -> None:
        self._supplied = on
        self.told.append(("supply", on, at_us))

    def call(self, name: str, on: bool, at_us: int) -> None:
        self.told.append((name, on, at_us))
        if name == "Y":
            self._changes.append(TerminalChange(at_us, "Y", on))

    def sensor(self, name: str, signal: str | int, at_us: int) -> None:
        self.told.append((f"sensor {name}", signal, at_us))

    def button(self, closed: bool, at_us: int) -> None:
        self.told.append(("button", closed, at_us))

    def connect(self, send: object) -> None:
        """It asks nobody."""

    def heard(self, name: str, data: bytes, at_us: int) -> None:
        raise AssertionError("nobody asked")

    def advance(self, to_us: int) -> list[TerminalChange]:
        changes, self._changes = self._changes, []
        return changes

    def next_change_us(self) -> int | None:
        return None

    def terminals(self) -> dict[str, bool]:
        return {}


class Bench:
    """A fixture with such a board, talked to in plain SCPI."""

    def __init__(self, seed: int = 0, *, drops: bool = False) -> None:
        self.board = Wire(drops)
        table = load_channels()
        self.fixture = SimulatedFixture(self.board, furnace(), table.wiring, table, seed=seed)
        self.records: list[list[str]] = []

    def ask(self, line: str) -> str:
        self.fixture.receive(line.encode() + b"\n")
        if not line.partition(" ")[0].endswith("?"):
            assert self.fixture.take() == b""
            return ""
        while not (out := self.fixture.take()):
            self.fixture.advance(self.fixture.now_us() + 1_000_000)
        return out.decode().rstrip("\n")

    def wait(self, seconds: float) -> list[list[str]]:
        """Events of the time that passes, as lists of their fields."""
        first = len(self.records)
        end_us = self.fixture.now_us() + round(seconds * 1e6)
        while self.fixture.now_us() < end_us:
            body = unsealed(blocks.decode(self.ask("FETC:EVEN? 100").encode()))
            assert body is not None
            self.records += [r.split(",") for r in body.decode().rstrip(";").split(";")[1:]]
        return self.records[first:]

    def tick(self, true_us: int) -> float:
        return self.fixture._resonator.exact(true_us)

    def stamps(self, kind: str, number: int) -> list[tuple[int, int]]:
        return [(int(r[4]), int(r[5])) for r in self.records if (r[1], r[2]) == (kind, str(number))]


@pytest.mark.parametrize("seed", range(20))
def test_stamps_contain_the_truth_and_keep_their_half_width(seed: int) -> None:
    bench = Bench(seed)
    table = load_channels()
    for line in ("SOUR:VOLT 0.8,(@30)", "ROUT:CLOS (@1)", "ROUT:CLOS (@2)", "ROUT:CLOS (@3)", "SOUR:VOLT 4.9,(@30)",
                 "ROUT:OPEN (@3)", "ROUT:CLOS (@3)", "ROUT:OPEN (@1)", "ROUT:CLOS (@1)"):  # fmt: skip
        bench.ask(line)
        bench.wait(0.3)
    wrap = 1 << 32
    for what, kind, number in (("Y", "EDGE", 17), ("Y", "VOLT", 3), ("supply", "EDGE", 15)):
        truth = [at for name, _, at in bench.board.told if name == what]
        stamps = bench.stamps(kind, number)
        assert len(stamps) == len(truth) > 1
        for at_us, (earliest, latest) in zip(truth, stamps, strict=True):
            assert (bench.tick(at_us) - earliest) % wrap <= (latest - earliest) % wrap
    # The board sees the signal climb within the read-back's interval.
    steps = [at for name, signal, at in bench.board.told if name == "sensor 1" and isinstance(signal, int)][
        1:
    ]
    (earliest, latest) = bench.stamps("TERM", 30)[1]
    assert all((bench.tick(at) - earliest) % wrap <= (latest - earliest) % wrap for at in steps)
    for record in bench.records:
        kind, half_us = record[1], (int(record[5]) - int(record[4])) % wrap / 2
        channel = table.by_number[int(record[2])]
        limit = 4_000 if channel.kind == "sensor" else 2_500 if kind == "VOLT" else channel.bound
        assert half_us <= limit, record


@pytest.mark.parametrize("seed", range(10))
def test_everything_moved_is_read_back_within_100_ms(seed: int) -> None:
    bench = Bench(seed)
    for line in ("ROUT:CLOS (@1,2,3,4)", "ROUT:CLOS (@3)", "SOUR:CONT SHOR,(@30:33)", "SOUR:VOLT 0,(@30)",
                 "SOUR:VOLT 5,(@30)", "ROUT:OPEN:ALL", "ROUT:CLOS (@5)", "*RST"):  # fmt: skip
        bench.ask(line)
        bench.wait(0.3)
    applied = {r[0]: r for r in bench.records if r[1] == "APPL"}
    owed = {
        (seq, what)
        for seq, r in applied.items()
        for what in (("POS", "TERM") if int(r[2]) >= 30 else ("POS",))
    }
    for r in bench.records:
        if r[1] in ("POS", "TERM"):
            owed.remove((r[6], r[1]))
            assert int(r[5]) - int(applied[r[6]][5]) <= 100_000
    assert owed == set()
    calls = {seq for seq, r in applied.items() if r[2] in ("3", "4", "5")}
    assert calls <= {r[6] for r in bench.records if r[1] == "VOLT"}


def test_levels_are_true_within_their_bound() -> None:
    for seed in range(30):
        bench = Bench(seed)
        for uv in (0, 820_000, 5_000_000):
            bench.ask(f"SOUR:VOLT {uv}UV,(@30)")
            bench.wait(0.1)
            true = bench.board.told[-1][1]
            assert isinstance(true, int)
            for kind in ("POS", "TERM"):
                read = int([r for r in bench.records if r[1] == kind][-1][3])
                assert abs(read - true) <= 5_000
                assert abs(read - uv) <= 5_000


def test_a_source_that_is_overloaded_sags_and_recovers_when_opened() -> None:
    bench = Bench(drops=True)
    bench.ask("ROUT:CLOS (@1,2)")
    bench.wait(0.3)
    assert [r[3] for r in bench.records if r[1:3] == ["EDGE", "14"]] == ["0"]
    assert bench.ask("MEAS:VOLT:AC? (@14,15)") == "0.00,0.00"
    bench.ask("ROUT:OPEN (@1)")
    bench.wait(0.3)
    assert [r[3] for r in bench.records if r[1:3] == ["EDGE", "14"]] == ["0", "1"]
    assert 22 < float(bench.ask("MEAS:VOLT:AC? (@14)")) < 26.4


def test_readings() -> None:
    bench = Bench()
    bench.ask("ROUT:CLOS (@1,2);:SOUR:CONT LEAK,(@31)")
    bench.wait(0.2)
    assert bench.ask("ROUT:CLOS? (@1:3)") == "1,1,0"
    assert bench.ask("FETC? (@1,14,15,17,30,31)") == "1,1,1,0,OPEN,LEAK"


def test_a_pulse_train_and_a_pulse_that_ends_with_a_reset() -> None:
    bench = Bench()
    bench.ask("ROUT:PULS 100MS,(@13),3,200MS")
    bench.wait(1.5)
    assert [r[3] for r in bench.records if r[1] == "POS"] == ["1", "0"] * 3
    bench.ask("ROUT:PULS 1,(@13)")
    bench.wait(0.3)
    bench.ask("*RST")
    bench.wait(2)
    assert [r[3] for r in bench.records if r[1] == "POS"][6:] == ["1", "0"]
    assert not bench.fixture.hardware.energised


@pytest.mark.parametrize(
    ("line", "error"),
    [
        ("ROUT:CLOS (@17)", "-224"), ("ROUT:CLOS (@99)", "-222"), ("ROUT:CLOS", "-109"), ("ROUT:CLOS 3", "-104"),
        ("SOUR:VOLT 5.001,(@30)", "-222"), ("SOUR:VOLT -1,(@30)", "-222"), ("SOUR:VOLT 1,(@3)", "-224"),
        ("SOUR:VOLT 1 S,(@30)", "-131"), ("SOUR:CONT SHUT,(@30)", "-141"), ("ROUT:PULS 0.0001,(@1)", "-222"),
        ("ROUT:PULS 1,(@1),11", "-222"), ("FETC:EVEN? 501", "-222"), ("MEAS:VOLT:AC? (@3)", "-224"),
        ("ROUT:CLOS (@3,17)", "-224"),
    ],
)  # fmt: skip
def test_refused_commands_move_nothing(line: str, error: str) -> None:
    bench = Bench()
    bench.ask("*CLS")
    bench.fixture.receive(line.encode() + b"\n")
    assert bench.fixture.take() == b""
    assert bench.ask("SYST:ERR?").split(",")[0] == error
    assert bench.wait(0.2) == []


def test_the_event_query_answers_at_once_waits_or_is_ended_by_input() -> None:
    bench = Bench()
    fixture = bench.fixture
    fixture.receive(b"FETC:EVEN? 500\n")
    assert fixture.take() == b""
    assert fixture.waiting()
    fixture.advance(fixture.now_us() + 300_000)
    fixture.receive(b"ROUT:CLOS (@3)\n")
    assert fixture.take().startswith(b"#")  # the empty block
    assert ",APPL,3,1," in bench.ask("FETC:EVEN? 500")
    assert fixture.now_us() == 300_000


def test_a_full_ring_says_how_much_it_lost() -> None:
    ring = Ring()
    for n in range(CAPACITY + 10):
        ring.put("EDGE", 17, str(n % 2), n, n, 0)
    assert len(ring) == CAPACITY
    records: list[str] = []
    while ring:
        body = unsealed(blocks.decode(ring.block(0, 1).encode()))
        assert body is not None
        got = body.decode().rstrip(";").split(";")[1:]
        assert len(got) <= IN_A_BLOCK
        records += got
    assert [int(r.split(",")[0]) for r in records] == list(range(1, CAPACITY + 1))
    assert records[-1].split(",")[1:4] == ["LOST", "0", "11"]
    ring.put("EDGE", 17, "1", 5, 5, 0)
    assert len(ring) == 1


def test_the_resonator_is_off_and_wanders_within_its_limits() -> None:
    for seed in range(50):
        one = Resonator(random.Random(seed))
        rates = [one.exact((n + 1) * 10e6) - one.exact(n * 10e6) for n in range(360)]
        ppm = [(r / 10e6 - 1) * 1e6 for r in rates]
        assert max(map(abs, ppm)) <= RATE_PPM
        assert max(ppm) - min(ppm) <= DRIFT_PPM
        assert max(abs(p) for p in ppm) > 1


def test_a_boot_begins_at_tick_0() -> None:
    one = Resonator(random.Random(1))
    one.restart(123_456_789)
    assert one.tick(123_456_789) == 0
    assert 990_000 < one.tick(124_456_789) < 1_010_000
