"""The service button's gestures with every time in the middle of its interval; for the reference board.

A press shorter than the middle of `press` is none, and so is an opening
between two.  Presses are counted to the end of the longest `within` after the
first one began; a long press counts while it lasts.  Time is an argument.
"""

from __future__ import annotations

from firmware_ref.parameters import Button, Interval


class Gestures:
    """Edges of the contact in, actions out, in order of time."""

    def __init__(self, button: Button) -> None:
        self._button = button
        self._settle_us = button.press.middle_us
        self._window_us = max(
            (g.within.middle_us for g in button.gestures.values() if g.within is not None), default=0
        )
        self._contact: tuple[bool, int] = (False, 0)
        self._down_us: int | None = None  # pressed, and counts as that, since then
        self._begins: list[int] = []
        self._held: set[str] = set()
        self._due: list[tuple[int, str]] = []

    def contact(self, closed: bool, at_us: int) -> None:
        """The contact closes or opens; `advance` must have been called up to here."""
        self._contact = (closed, at_us)

    def next_us(self) -> int | None:
        """When something is next to be decided or done."""
        return min((at_us for at_us, _ in self._steps()), default=None)

    def advance(self, to_us: int) -> list[str]:
        """The actions that fall due by then."""
        ready: list[str] = []
        while steps := [step for step in self._steps() if step[0] <= to_us]:
            at_us, what = min(steps)
            if what == "settled":
                self._settled()
            elif what == "counted":
                self._counted(at_us)
            elif what.startswith("held "):
                action = what.removeprefix("held ")
                self._held.add(action)
                self._begins.clear()
                self._ask(action, at_us)
            else:
                self._due.remove((at_us, what))
                ready.append(what)
        return ready

    def _steps(self) -> list[tuple[int, str]]:
        closed, edge_us = self._contact
        down_us = self._down_us
        steps = list(self._due)
        if closed is not (down_us is not None):
            steps.append((edge_us + self._settle_us, "settled"))
        elif self._begins and not closed:
            steps.append((max(self._begins[0] + self._window_us, edge_us), "counted"))
        if down_us is not None:
            last_us = None if closed else edge_us
            for action, gesture in self._button.gestures.items():
                if gesture.press is not None and action not in self._held:
                    at_us = down_us + gesture.press.middle_us
                    steps += [(at_us, f"held {action}")] if last_us is None or at_us <= last_us else []
        return steps

    def _settled(self) -> None:
        closed, edge_us = self._contact
        if not closed:
            self._down_us = None
            return
        self._down_us, self._held = edge_us, set()
        if self._begins and edge_us - self._begins[0] > self._window_us:
            self._counted(self._begins[0] + self._window_us)
        self._begins.append(edge_us)

    def _counted(self, at_us: int) -> None:
        for action, gesture in self._button.gestures.items():
            count = gesture.press is None and gesture.presses == len(self._begins)
            if count and self._begins[-1] - self._begins[0] <= _middle_us(gesture.within):
                self._ask(action, at_us)
        self._begins.clear()

    def _ask(self, action: str, at_us: int) -> None:
        self._due.append((at_us + self._button.acts.middle_us, action))


def _middle_us(span: Interval | None) -> int:
    return 0 if span is None else span.middle_us
