"""The answers a profile leaves to the maker, settled for one simulated board.

Where a rule is not stated the seed picks one of the allowed answers, and
where two behaviours are both right it picks one.  A timing that is not stated
gets an interval of our own.
"""

from __future__ import annotations

from dataclasses import dataclass

from bench.simulated.draw import Draw
from firmware_ref.parameters import Interval, Parameters

_S = 1_000_000
#: Invented; used only where the profile states nothing, so nothing is judged by them.
NOT_STATED = {
    "trip": Interval(1 * _S, 8 * _S),
    "clear": Interval(2 * _S, 10 * _S),
    "hold": Interval(310 * _S, 400 * _S),
    "loss": Interval(2 * _S, 10 * _S),
    "return": Interval(2 * _S, 10 * _S),
    "ride-through": Interval(20_000, 200_000),
    "self-test": Interval(10 * _S, 40 * _S),
}


@dataclass(frozen=True, slots=True)
class Traits:
    """How this board does what the profile leaves open; fixed for a run."""

    scan_us: int
    hold_on_band: str
    hold_when_lost: str
    after_supply_loss: str
    latching: bool
    #: A short release when the sensor is good again while high.
    returns_while_high: bool
    #: Each sensor has its own timers, or one joint condition.
    each_sensor: bool
    #: A loss that has not qualified breaks a low.
    loss_breaks_low: bool
    #: A disturbance of the hold shorter than the shortest trip goes unseen.
    short_band_unseen: bool
    #: A loss that came and went during mitigation latches.
    latches_in_mitigation: bool
    #: What a leak, and a lost sensor, do in a self-test.
    leak_in_self_test: str
    loss_in_self_test: str
    #: A reset by the button while the sensor is not good again: refused, unlatched, or as if it were.
    early_reset: str
    #: A reset by the button in mitigation makes the board forget its latch.
    resets_in_mitigation: bool

    @classmethod
    def draw(cls, parameters: Parameters, draw: Draw) -> Traits:
        rules = parameters.rules
        return cls(
            scan_us=1_000 * int(draw.choice(("5", "10"))),
            hold_on_band=rules.hold_on_band or draw.choice(("continue", "pause", "restart")),
            hold_when_lost=rules.hold_when_lost or draw.choice(("restart", "pause", "run")),
            after_supply_loss=rules.after_supply_loss or draw.choice(("resume", "restart_hold", "forget")),
            latching=draw.flip() if rules.latching is None else rules.latching,
            returns_while_high=draw.flip() and rules.return_only_when is None,
            each_sensor=draw.flip(),
            loss_breaks_low=draw.flip(),
            short_band_unseen=draw.flip(),
            latches_in_mitigation=draw.flip(),
            leak_in_self_test=rules.leak_in_self_test or draw.choice(("ends", "waits")),
            loss_in_self_test=rules.loss_in_self_test or draw.choice(("ends", "waits")),
            early_reset=draw.choice(("refused", "unlatched", "normal")),
            resets_in_mitigation=draw.flip(),
        )


@dataclass(frozen=True, slots=True)
class Spans:
    """The intervals that this board draws from, and the longest interval each is judged in (us)."""

    trip: Interval
    clear: Interval
    hold: Interval
    loss: Interval
    return_: Interval
    ride_through: Interval
    self_test: Interval
    react_max_us: int

    @classmethod
    def of(cls, parameters: Parameters) -> Spans:
        timing = parameters.timing
        return cls(
            trip=parameters.qualification("trip") or NOT_STATED["trip"],
            clear=timing.clear or NOT_STATED["clear"],
            hold=timing.hold or NOT_STATED["hold"],
            loss=parameters.qualification("loss") or NOT_STATED["loss"],
            return_=timing.return_ or NOT_STATED["return"],
            ride_through=timing.ride_through or NOT_STATED["ride-through"],
            self_test=timing.self_test or NOT_STATED["self-test"],
            react_max_us=max(
                (max(o.react_on.max_us, o.react_off.max_us) for o in parameters.outputs), default=0
            ),
        )

    @property
    def release_us(self) -> int:
        """The longest composite: return, clear, hold and the outputs' reaction."""
        return self.return_.max_us + self.clear.max_us + self.hold.max_us + self.react_max_us
