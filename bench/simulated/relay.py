"""One relay of the board: a coil told at a scan, contacts that move later and bounce."""

from __future__ import annotations

from collections import deque

from bench.simulated.draw import Draw

#: Operate and release take at least this; the slowest is this plus one scan
#: (invented; small board relays are given as 5 to 20 ms).
OPERATE_US = 5_000
#: The longest bounce after the first edge; 1 to 5 ms are usual.
BOUNCE_US = 3_000


class Relay:
    """`closed` is the contact as wired to the terminal; `rests_closed` without coil current."""

    def __init__(self, draw: Draw, *, rests_closed: bool, glitch_us: int) -> None:
        self._draw = draw
        self._rests_closed = rests_closed
        self._bounce_us = min(BOUNCE_US, glitch_us // 4)
        self._moves: deque[tuple[int, bool]] = deque()
        self.told = rests_closed
        self.closed = rests_closed

    def tell(self, closed: bool, now_us: int, target_us: int) -> None:
        """Command the contact at `now_us` so that its first edge lies at `target_us`, or as soon as it can."""
        self.told = closed
        if self._moves and self._moves[0][0] <= now_us:  # kept waiting, so it has not begun: void
            self._moves.clear()
            if self.closed is closed:
                return
        first = max(target_us, now_us + OPERATE_US)
        if self._moves:
            first = max(first, self._moves[-1][0] + 1)
        self._moves.append((first, closed))
        self._bounce(first, closed)

    def pulse(self, at_us: int, width_us: int) -> None:
        """Contacts that leave their place for a moment, uncommanded; ignored while they are moving."""
        if not self._moves:
            self._moves.extend([(at_us, not self.told), (at_us + width_us, self.told)])

    def release(self, now_us: int) -> None:
        """The coil loses its supply: what was under way is void."""
        self._moves.clear()
        self.told = self._rests_closed
        if self.closed is not self._rests_closed:
            self._moves.append((now_us + OPERATE_US, self._rests_closed))

    def _bounce(self, first_us: int, closed: bool) -> None:
        if self._bounce_us < 4:
            return
        # Closing contacts bounce once or twice, opening ones at most once.
        count = self._draw.chance(1, 2) if closed else self._draw.chance(0, 1)
        instants = sorted({self._draw.chance(1, self._bounce_us) for _ in range(2 * count)})
        if len(instants) < 2 * count:
            return
        for i, offset in enumerate(instants):
            self._moves.append((first_us + offset, closed if i % 2 else not closed))

    def next_us(self) -> int | None:
        return self._moves[0][0] if self._moves else None

    def closes_next(self) -> bool:
        """Whether its contacts are open and about to close."""
        return bool(self._moves) and self._moves[0][1] and not self.closed

    def opens_next(self) -> bool:
        """Whether its contacts are closed and about to open."""
        return bool(self._moves) and not self._moves[0][1] and self.closed

    def put_off(self, by_us: int) -> None:
        """What is under way comes later."""
        self._moves = deque((at + by_us, closed) for at, closed in self._moves)

    def move(self, now_us: int) -> None:
        """Let the contacts do what is due by `now_us`."""
        while self._moves and self._moves[0][0] <= now_us:
            self.closed = self._moves.popleft()[1]
