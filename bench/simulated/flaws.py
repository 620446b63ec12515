"""What can be wrong inside the simulated board's program."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Flaws:
    """None and False: nothing wrong.  Times in us, beyond the limit of what is judged."""

    hold_short_us: int | None = None
    hold_long_us: int | None = None
    slow_trip_us: int | None = None
    no_restart: bool = False
    no_release: bool = False
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
    self_test_endless: bool = False
    self_test_blind: bool = False
