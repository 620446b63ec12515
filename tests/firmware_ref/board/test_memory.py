"""What the board remembers is in two slots with a check: a torn record is noticed, at whichever byte it was torn."""

from __future__ import annotations

import pytest

from firmware_ref.board.image import crc16
from firmware_ref.parameters import Mode
from tests.boards import air_handler, furnace
from tests.firmware_ref.board.core import STORE_BYTES, CoreBoard
from tests.firmware_ref.board.rig import Rig

SLOT_BYTES, STRIDE = 9, 16


def slots(store: bytes) -> list[bytes]:
    return [store[at : at + SLOT_BYTES] for at in range(0, STORE_BYTES, STRIDE)]


def sound(slot: bytes) -> bool:
    return crc16(slot[:-2]) == int.from_bytes(slot[-2:], "little")


def again(store: bytes, seconds: float = 1.0) -> Rig:
    """A furnace board with this memory, that long after its supply came."""
    board = CoreBoard(furnace())
    board.store = store
    return Rig(furnace(), board=board).gas("clear").wait(0.1).main(True).wait(seconds)


def test_an_erased_memory_is_no_memory() -> None:
    assert again(b"\xff" * STORE_BYTES).mode is Mode.START_UP


def test_records_go_into_the_slots_by_turns() -> None:
    rig = Rig(furnace()).up()
    assert not any(map(sound, slots(rig.board.store)))
    rig.leak().wait(0.2)
    first = slots(rig.board.store)
    assert sound(first[0]) and not sound(first[1])
    rig.hold().wait(0.2)
    second = slots(rig.board.store)
    assert second[0] == first[0] and sound(second[1])


@pytest.mark.parametrize("byte", range(1, SLOT_BYTES + 1))
def test_the_supply_that_fails_in_a_write_costs_that_record_alone(byte: int) -> None:
    rig = Rig(furnace()).up().leak().wait(0.2)
    rig.gas("clear").wait(4)
    rig.board.tear(byte)  # of the record written when the hold begins
    rig.wait(2)
    assert not rig.board.alive
    torn = slots(rig.board.store)
    assert sound(torn[0]) and not sound(torn[1])
    assert rig.main(False).wait(1).main(True).wait(1).mode is Mode.LEAK_ACTIVE


@pytest.mark.parametrize("byte", range(1, SLOT_BYTES + 1))
def test_a_first_record_torn_is_no_memory(byte: int) -> None:
    rig = Rig(furnace()).up()
    rig.board.tear(byte)
    rig.gas("leak").wait(6)
    assert not rig.board.alive
    assert again(rig.board.store).mode is Mode.START_UP


def test_every_flipped_bit_is_noticed() -> None:
    store = Rig(furnace()).up().leak().wait(0.2).board.store
    assert again(store).mode is Mode.LEAK_ACTIVE
    for bit in range(8 * SLOT_BYTES):
        damaged = bytearray(store)
        damaged[bit // 8] ^= 1 << bit % 8
        assert again(bytes(damaged)).mode is Mode.START_UP


def test_the_newer_of_two_good_records_counts_across_the_wrap_of_their_number() -> None:
    def slot(sequence: int, what: int) -> bytes:
        body = bytes([sequence, what, 0, 0, 0, 0, 0])
        return body + crc16(body).to_bytes(2, "little") + b"\xff" * (STRIDE - SLOT_BYTES)

    leak, nothing = 1, 0
    for older, newer in ((1, 2), (127, 128), (255, 0), (200, 10)):
        assert again(slot(older, nothing) + slot(newer, leak)).mode is Mode.LEAK_ACTIVE
        assert again(slot(newer, leak) + slot(older, nothing)).mode is Mode.LEAK_ACTIVE
        assert again(slot(older, leak) + slot(newer, nothing)).mode is Mode.START_UP


def test_what_is_left_of_the_hold_is_written_before_the_capacitor_is_empty() -> None:
    rig = Rig(air_handler()).up().leak().hold().wait(100).main(False).wait(1)
    newest = max((s for s in slots(rig.board.store) if sound(s)), key=lambda s: s[0])
    # Eight seconds of clear, of which the rig's `hold` waited eleven.
    left_ms = int.from_bytes(newest[2:6], "little")
    assert left_ms == pytest.approx(480_000 - 103_000 - 160, abs=30)


def test_nothing_is_written_while_nothing_changes() -> None:
    rig = Rig(furnace()).up("Y", "W", "G").leak().hold().wait(1)
    before = rig.board.store
    assert rig.wait(300).board.store == before
