"""Links that record, replay and damage."""

from __future__ import annotations

import pytest

from bench.errors import BenchFault
from bench.link import peers
from bench.link.damaged import Damage, DamagedPort
from bench.link.recorded import RecordingPort, ReplayPort, Transfer
from bench.link.serialport import SerialPort, open_port
from tests.link.echo import Echo


def echoing() -> SerialPort:
    peers.register(lambda url: Echo())
    return open_port("sim://")


def test_what_was_recorded_plays_back() -> None:
    recording = RecordingPort(echoing())
    recording.write(b"one")
    assert recording.read(10_000) == b"one"
    assert recording.read(10_000) == b""
    assert recording.transfers == [Transfer(True, b"one"), Transfer(False, b"one"), Transfer(False, b"")]
    replay = ReplayPort(recording.transfers)
    replay.write(b"one")
    assert replay.read(0) == b"one"
    assert replay.read(0) == b""
    with pytest.raises(BenchFault, match="over after 3"):
        replay.read(0)


def test_a_replay_notices_what_differs() -> None:
    with pytest.raises(BenchFault, match=r"b'two'"):
        ReplayPort([Transfer(True, b"one")]).write(b"two")
    with pytest.raises(BenchFault, match="other way"):
        ReplayPort([Transfer(True, b"one")]).read(0)


@pytest.mark.parametrize(("how", "seen"), [("drop", b"abd"), ("double", b"abccd"), ("flip", b"abbd")])
def test_one_byte_is_damaged_on_its_way_out(how: str, seen: bytes) -> None:
    port = DamagedPort(echoing(), Damage(True, 2, how, bit=0))
    port.write(b"ab")
    port.write(b"cd")
    assert port.read(10_000) + port.read(10_000) == seen
    assert port.counted == [4, len(seen)]


def test_one_byte_is_damaged_on_its_way_back() -> None:
    port = DamagedPort(echoing(), Damage(False, 3, "flip", bit=7))
    for _ in range(2):
        port.write(b"ab")
    assert port.read(10_000) + port.read(10_000) == b"aba\xe2"
