"""The reference state machine: the only statement of the mode logic.

One flat class for all profiles.  The states are the modes of
`firmware_ref.parameters.Mode`, some of them split where the board must
remember more than it shows (a sensor lost while mitigating, a latched fault).
The machine has no time of its own: `WATCH` says, for each state, which event
falls when which timer has run and what that timer needs; who owns the clock
(`firmware_ref.reference`, the judge) keeps the timers as data and sends the
events.  `TABLE` is derived from the class, for bulk work; a test holds the two
in lockstep.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from enum import Enum
from typing import Any

from statemachine import State, StateMachine

from firmware_ref.parameters import Mode, Rules


@dataclass(slots=True)
class Memory:
    """What the board knows besides its mode, much of it kept through a loss of supply.

    `mitigation`: `leak` or `hold` if the supply was lost while mitigating and
    the board goes on with it, else None.  `latched`: a sensor fault that only
    the profile's reset removes.  `sensor_good`: what it sees at this moment
    (None: not known), for a hold that ran on through a sensor loss.
    """

    mitigation: str | None = None
    latched: bool = False
    sensor_good: bool | None = False


#: A guard answers True, False, or None where the profile does not state the rule: either is right.
Guard = Callable[[Rules, Memory], "bool | None"]


def _stated(value: str | None, wanted: str) -> bool | None:
    return None if value is None else value == wanted


def _stated_both(a: bool | None, b: bool | None) -> bool | None:
    """Three-valued and: None unless one of them says no or both say yes."""
    return False if a is False or b is False else a and b


def _both(a: bool | None, b: bool) -> bool | None:
    return a if b else False


GUARDS: Mapping[str, Guard] = {
    "latches": lambda rules, memory: rules.latching,
    "is_latched": lambda rules, memory: memory.latched,
    "remembers_leak": lambda rules, memory: memory.mitigation == "leak",
    "remembers_hold": lambda rules, memory: memory.mitigation == "hold",
    "hold_must_restart": lambda rules, memory: _stated(rules.hold_when_lost, "restart"),
    "sensor_good_and_latched": lambda rules, memory: _both(memory.sensor_good, memory.latched),
    "sensor_good": lambda rules, memory: memory.sensor_good,
    "fault_ends_in_hold": lambda rules, memory: rules.after_fault == "hold",
    "leak_ends_self_test": lambda rules, memory: _stated(rules.leak_in_self_test, "ends"),
    "loss_ends_self_test": lambda rules, memory: _stated(rules.loss_in_self_test, "ends"),
    "loss_ends_self_test_and_latches": lambda rules, memory: _stated_both(
        _stated(rules.loss_in_self_test, "ends"), rules.latching
    ),
}


class LeakMitigation(StateMachine):
    """What a leak-mitigation board does next, by event.

    Where one event has several arcs from a state, the first whose guard holds
    is taken.  A guard that is not stated counts as not holding here; the judge
    follows both.
    """

    unpowered = State(initial=True)
    start_up = State()
    normal = State()
    leak_active = State()
    leak_active_lost = State()
    post_leak_hold = State()
    post_leak_hold_lost = State()
    sensor_fault = State()
    sensor_fault_latched = State()
    self_test = State()

    booted = (
        unpowered.to(leak_active, cond="remembers_leak")
        | unpowered.to(post_leak_hold, cond="remembers_hold")
        | unpowered.to(sensor_fault_latched, cond="is_latched")
        | unpowered.to(start_up)
    )
    warmed_up = start_up.to(normal)
    tripped = (
        start_up.to(leak_active)
        | normal.to(leak_active)
        | post_leak_hold.to(leak_active)
        | post_leak_hold_lost.to(leak_active)
        | sensor_fault.to(leak_active)
        | sensor_fault_latched.to(leak_active)
        | self_test.to(leak_active, cond="leak_ends_self_test")
    )
    cleared = leak_active.to(post_leak_hold)
    hold_over = (
        post_leak_hold.to(sensor_fault_latched, cond="is_latched")
        | post_leak_hold.to(normal)
        | post_leak_hold_lost.to(sensor_fault_latched, cond="sensor_good_and_latched")
        | post_leak_hold_lost.to(normal, cond="sensor_good")
        | post_leak_hold_lost.to(sensor_fault_latched, cond="latches")
        | post_leak_hold_lost.to(sensor_fault)
    )
    lost = (
        start_up.to(sensor_fault_latched, cond="latches")
        | start_up.to(sensor_fault)
        | normal.to(sensor_fault_latched, cond="latches")
        | normal.to(sensor_fault)
        | leak_active.to(leak_active_lost)
        | post_leak_hold.to(post_leak_hold_lost)
        | self_test.to(sensor_fault_latched, cond="loss_ends_self_test_and_latches")
        | self_test.to(sensor_fault, cond="loss_ends_self_test")
    )
    self_test_asked = normal.to(self_test)
    self_test_over = self_test.to(normal)
    reset_asked = sensor_fault_latched.to(normal)
    returned = (
        leak_active_lost.to(leak_active)
        | post_leak_hold_lost.to(leak_active, cond="hold_must_restart")
        | post_leak_hold_lost.to(post_leak_hold)
        | sensor_fault.to(post_leak_hold, cond="fault_ends_in_hold")
        | sensor_fault.to(normal)
    )
    supply_lost = (
        start_up.to(unpowered)
        | normal.to(unpowered)
        | leak_active.to(unpowered)
        | leak_active_lost.to(unpowered)
        | post_leak_hold.to(unpowered)
        | post_leak_hold_lost.to(unpowered)
        | sensor_fault.to(unpowered)
        | sensor_fault_latched.to(unpowered)
        | self_test.to(unpowered)
    )

    def __init__(self, rules: Rules) -> None:
        self.rules = rules
        self.memory = Memory()
        super().__init__()

    def latches(self) -> bool:
        return bool(GUARDS["latches"](self.rules, self.memory))

    def is_latched(self) -> bool:
        return bool(GUARDS["is_latched"](self.rules, self.memory))

    def remembers_leak(self) -> bool:
        return bool(GUARDS["remembers_leak"](self.rules, self.memory))

    def remembers_hold(self) -> bool:
        return bool(GUARDS["remembers_hold"](self.rules, self.memory))

    def hold_must_restart(self) -> bool:
        return bool(GUARDS["hold_must_restart"](self.rules, self.memory))

    def sensor_good_and_latched(self) -> bool:
        return bool(GUARDS["sensor_good_and_latched"](self.rules, self.memory))

    def sensor_good(self) -> bool:
        return bool(GUARDS["sensor_good"](self.rules, self.memory))

    def fault_ends_in_hold(self) -> bool:
        return bool(GUARDS["fault_ends_in_hold"](self.rules, self.memory))

    def leak_ends_self_test(self) -> bool:
        return bool(GUARDS["leak_ends_self_test"](self.rules, self.memory))

    def loss_ends_self_test(self) -> bool:
        return bool(GUARDS["loss_ends_self_test"](self.rules, self.memory))

    def loss_ends_self_test_and_latches(self) -> bool:
        return bool(GUARDS["loss_ends_self_test_and_latches"](self.rules, self.memory))

    def on_enter_sensor_fault_latched(self) -> None:
        self.memory.latched = True

    def before_reset_asked(self) -> None:
        self.memory.latched = False

    def on_enter_start_up(self) -> None:
        self.memory = Memory()

    @property
    def state_id(self) -> str:
        """Which state the machine is in, by its name in this class."""
        return next(iter(self.configuration)).id


class Needs(Enum):
    """What must be so, without a break, while a timer runs."""

    # Each stands for itself alone; the hash of a plain Enum is worked out in Python.
    __hash__ = object.__hash__

    SUPPLY = "supply present"
    HIGH = "a sensor high"
    LOW = "all sensors low"
    LOST = "a sensor lost"
    GOOD = "no sensor lost"
    HOLD = "the hold's own rules"
    NOTHING = "nothing more"


@dataclass(frozen=True, slots=True)
class Watch:
    """An event falls when `timer` (a name in `Timing`, `return` for `return_`) has run on `needs`."""

    event: str
    timer: str
    needs: Needs


_TRIPPED = Watch("tripped", "trip", Needs.HIGH)
_LOST = Watch("lost", "loss", Needs.LOST)
_RETURNED = Watch("returned", "return", Needs.GOOD)
_HOLD_OVER = Watch("hold_over", "hold", Needs.HOLD)

#: What each state waits for.  The loss of supply is watched everywhere and is not listed.
WATCH: Mapping[str, tuple[Watch, ...]] = {
    "unpowered": (Watch("booted", "boot", Needs.SUPPLY),),
    "start_up": (Watch("warmed_up", "warm_up", Needs.SUPPLY), _TRIPPED, _LOST),
    "normal": (_TRIPPED, _LOST),
    "leak_active": (Watch("cleared", "clear", Needs.LOW), _LOST),
    "leak_active_lost": (_RETURNED,),
    "post_leak_hold": (_HOLD_OVER, _TRIPPED, _LOST),
    "post_leak_hold_lost": (_RETURNED, _HOLD_OVER, _TRIPPED),
    "sensor_fault": (_TRIPPED, _RETURNED),
    "sensor_fault_latched": (_TRIPPED,),
    "self_test": (Watch("self_test_over", "self_test", Needs.NOTHING), _TRIPPED, _LOST),
}

#: What the service button asks for, by its action; where the table has no such arc it does nothing.
#: The loss of supply and these are not listed in `WATCH`: they come from outside.
ASKED: Mapping[str, str] = {"self-test": "self_test_asked", "reset": "reset_asked"}

#: The mode that each state shows.
MODES: Mapping[str, Mode] = {
    "unpowered": Mode.UNPOWERED,
    "start_up": Mode.START_UP,
    "normal": Mode.NORMAL,
    "leak_active": Mode.LEAK_ACTIVE,
    "leak_active_lost": Mode.LEAK_ACTIVE,
    "post_leak_hold": Mode.POST_LEAK_HOLD,
    "post_leak_hold_lost": Mode.POST_LEAK_HOLD,
    "sensor_fault": Mode.SENSOR_FAULT,
    "sensor_fault_latched": Mode.SENSOR_FAULT,
    "self_test": Mode.SELF_TEST,
}


@dataclass(frozen=True, slots=True)
class Arc:
    """One way out of a state by one event, if `guard` (a name in `GUARDS`, None: always) holds."""

    guard: str | None
    target: str


def derive_table(machine: type[StateMachine]) -> dict[tuple[str, str], tuple[Arc, ...]]:
    """(state, event) → arcs in the order they are tried, read from the class."""
    table: dict[tuple[str, str], list[Arc]] = {}
    for state in machine.states:
        for transition in state.transitions:
            guards: list[Any] = [spec.func for spec in transition.cond]
            arc = Arc(guards[0] if guards else None, transition.target.id)
            table.setdefault((state.id, str(transition.event)), []).append(arc)
    return {key: tuple(arcs) for key, arcs in table.items()}


TABLE: Mapping[tuple[str, str], tuple[Arc, ...]] = derive_table(LeakMitigation)


def targets(state: str, event: str, rules: Rules, memory: Memory) -> tuple[str, ...]:
    """Where an event may lead: one state, or several where a rule is not stated."""
    reached: list[str] = []
    for arc in TABLE.get((state, event), ()):
        holds = True if arc.guard is None else GUARDS[arc.guard](rules, memory)
        if holds is not False:
            reached.append(arc.target)
        if holds:
            break
    return tuple(reached)


def diagram() -> str:
    """The machine as a mermaid state diagram, drawn from the class."""
    return format(LeakMitigation, "mermaid")
