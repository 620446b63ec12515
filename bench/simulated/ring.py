"""The fixture's ring of records, and the blocks made of it (hardware/PROTOCOL.md, 4)."""

from __future__ import annotations

from collections import deque

from bench.scpi import blocks
from bench.scpi.crc import sealed

CAPACITY = 256
IN_A_BLOCK = 32


class Ring:
    """Records as text; `next` is the sequence number of the next one."""

    def __init__(self) -> None:
        self.next = 1
        self._records: deque[str] = deque()
        self._lost = 0

    def __len__(self) -> int:
        return len(self._records)

    def put(self, kind: str, number: int, value: str, earliest: int, latest: int, reference: int) -> int:
        """Add a record; returns its sequence number.  When the ring is full it is counted instead."""
        if len(self._records) >= CAPACITY - 1:
            self._lost += 1
            lost = f"{self.next - (self._lost > 1)},LOST,0,{self._lost},{latest},{latest},0"
            if self._lost > 1:
                self._records[-1] = lost
                return self.next - 1
            self._records.append(lost)
        else:
            self._lost = 0
            self._records.append(f"{self.next},{kind},{number},{value},{earliest},{latest},{reference}")
        self.next += 1
        return self.next - 1

    def block(self, tick: int, boot: int) -> str:
        """The oldest records as a block; they are gone from the ring then."""
        records = [self._records.popleft() for _ in range(min(IN_A_BLOCK, len(self._records)))]
        head = f"{tick},{boot},{self.next - len(self._records)}"
        return packed(";".join([head, *records, ""]))

    def clear(self) -> None:
        self.next, self._lost = 1, 0
        self._records.clear()


def packed(text: str) -> str:
    """A definite-length block with its CRC inside."""
    return blocks.encode(sealed(text.encode("ascii"))).decode("ascii")
