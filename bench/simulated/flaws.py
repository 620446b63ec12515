"""What can be wrong inside the simulated board's program."""

from __future__ import annotations

from dataclasses import dataclass, replace


@dataclass(frozen=True, slots=True)
class Flaws:
    """None and False: nothing wrong.  Times in us, beyond the limit of what is judged."""

    hold_short_us: int | None = None
    hold_long_us: int | None = None
    slow_trip_us: int | None = None
    no_restart: bool = False
    no_release: bool = False
    clears_at_once: bool = False
    loss_ends_mitigation: bool = False
    #: The qualifications, `trip` and `loss`, whose broken tries add up.
    accumulates: frozenset[str] = frozenset()
    forgets_mitigation: bool = False
    forgets_fault: bool = False
    #: Of the service button and the self-test.
    button_dead: bool = False
    press_too_few: bool = False
    press_too_short: bool = False
    reset_ignored: bool = False
    clear_ignored: bool = False
    self_test_endless: bool = False
    self_test_blind: bool = False

    def beyond(self, late_us: int) -> Flaws:
        """The same of a board that learns of its sensor up to `late_us` late: its times go so much further."""

        def more(us: int | None, times: int) -> int | None:
            return None if us is None else us + times * late_us

        return replace(
            self,
            hold_short_us=more(self.hold_short_us, 3),  # clear and hold begin later than they might
            hold_long_us=more(self.hold_long_us, 2),
            slow_trip_us=more(self.slow_trip_us, 1),
        )


@dataclass(frozen=True, slots=True)
class OutputFlaws:
    """What can be wrong with one output alone."""

    passes_new_call: bool = False
    not_released: bool = False
