"""The first failed finding that each board fault brings about in the procedure that shows it.

(requirement, output or None, kind); worked out from the parameters where it
depends on the board.  It rests on what that procedure does: calls come one by
one in the profile's order first, then together; all are present when the
leak and the sensor loss come.

Of what only `full` shows it is one of the failed findings, at whichever
output: there a move may come after the stimulus was taken back, and which
output moves first is chance.
"""

from __future__ import annotations

from bench.simulated.fault_table import Row
from firmware_ref.parameters import Mode, Output, Parameters, Policy

Expected = tuple[str, str | None, str]

_ALWAYS: dict[str, Expected] = {
    "light-dark": ("light", None, "not-allowed"),
    "light-stuck": ("light", None, "not-allowed"),
    "light-code": ("light", None, "not-allowed"),
    "light-miscounts": ("light", None, "not-allowed"),
    "light-late": ("light", None, "too-late"),
    "recall-nothing": ("recall", None, "missing"),
    "recall-other": ("recall", None, "not-allowed"),
    "recall-again": ("recall", None, "not-allowed"),
    "clear-ignored": ("recall", None, "not-allowed"),
    "hold-short": ("hold", None, "too-early"),
    "hold-long": ("hold", None, "too-late"),
    "no-restart": ("re-leak", None, "too-early"),
    "no-release": ("hold", None, "missing"),
    "loss-ends-mitigation": ("kept-on-loss", None, "not-allowed"),
    "contacts-overlap": ("contact", None, "too-late"),
    "feeds-back": ("backfeed", None, "not-allowed"),
    "reboots": ("supply", None, "not-allowed"),
    "loads-supply": ("power-up", None, "not-allowed"),
    "clears-between": ("hold", None, "too-early"),
    "trip-accumulates": ("trip", None, "too-early"),
    "loss-accumulates": ("loss", None, "too-early"),
    "forgets-fault": ("latch", None, "not-allowed"),
    "trip-low": ("level", None, "too-low"),
    "clear-high": ("level", None, "too-high"),
    "clear-low": ("hold", None, "missing"),
    "reset-ignored": ("button", None, "missing"),
    "press-too-few": ("button", None, "not-allowed"),
    "press-too-short": ("button", None, "not-allowed"),
}


def expected(row: Row, where: tuple[str, ...], parameters: Parameters) -> Expected:
    """What a bench has to find of the board fault `row` at `where`."""
    if row.name in _ALWAYS:
        return _ALWAYS[row.name]
    if row.name == "chatter":
        return "chatter", where[0], "chatter"
    if row.name == "restart-missing":
        return "restart", where[0], "too-early"
    if row.name == "passes-new-call":
        return "blocked", where[0], "not-allowed"
    if row.name == "not-held":
        return "forced", where[0], "not-allowed"
    if row.name == "not-released":
        return "release", where[0], "missing"
    if row.name == "clears-at-once":
        return "clear", told_by_output(parameters), "too-early"
    if row.name == "slow-trip":
        return "trip", _first_moved(Mode.LEAK_ACTIVE, parameters), "too-late"
    if row.name in ("trip-high", "scale-wrong"):
        return "trip", _first_moved(Mode.LEAK_ACTIVE, parameters), "missing"
    if row.name == "no-silence":  # every other question is lost, so nothing holds for long enough
        return "trip", _first_moved(Mode.LEAK_ACTIVE, parameters), "missing"
    if row.name == "bytes-swapped":
        return _from_the_start(parameters)
    if row.name == "forgets-mitigation":
        return "supply", None, _after_forgetting(parameters)
    if row.name in ("button-dead", "self-test-endless"):
        return "self-test", _first_moved(Mode.SELF_TEST, parameters), "missing"
    if row.name == "self-test-blind":
        requirement, output = seen_in_self_test(parameters) or ("trip", "")
        # The leak trips at the end of the self-test, and is waited for; the loss is taken back as soon as it shows.
        return requirement, output, "too-late" if requirement == "trip" else "missing"
    if row.name in ("loss-ignored", "range-ignored"):
        requirement = "return" if _reads_as_gas(parameters) else "loss"
        return requirement, _first_moved(Mode.SENSOR_FAULT, parameters), "missing"
    if row.name in ("takes-bad-crc", "ignores-exception", "ignores-sensor-fault"):
        return "loss", _first_moved(Mode.SENSOR_FAULT, parameters), "missing"
    if row.name == "trouble-ignored":
        return "loss", _first_moved(Mode.SENSOR_FAULT, parameters), "missing"
    if row.name == "sensor-ignored":
        if where[0] == parameters.sensors[0].name:
            return "trip", _first_moved(Mode.LEAK_ACTIVE, parameters), "missing"
        return "re-leak", None, "too-early"  # the others leak in the hold
    if row.name == "call-dead":
        return "follow", next(o.name for o in parameters.outputs if o.call == where[0]), "missing"
    if row.name == "crossed":
        return _expected_crossed(where, parameters)
    return _expected_stuck(row.name, parameters.output(where[0]))


def _from_the_start(parameters: Parameters) -> Expected:
    """A leak that is there from power-up: what it forces on comes on with no call there.

    Where the board need not look at its sensor before it is ready, that is after warm-up or, now and then, before.
    """
    forced = [
        o for o in parameters.outputs
        if o.modes[Mode.LEAK_ACTIVE] is Policy.ON and o.modes[Mode.START_UP] is not Policy.ON
    ]  # fmt: skip
    first = min(forced, key=lambda o: o.trip.max_us if o.trip is not None else 0, default=None)
    requirement = "power-up" if parameters.rules.check_before_normal else "follow"
    return requirement, first.name if first is not None else None, "not-allowed"


def _reads_as_gas(parameters: Parameters) -> bool:
    """Whether the first signal that is lost is one out of range that lies beyond the leak, or passed it on its way.

    Then the outputs move in time, as for a leak, and do not come back with the signal.
    """
    ranged = [s for s in parameters.sensors if s.below or s.above]
    same = all(o.modes[Mode.LEAK_ACTIVE] is o.modes[Mode.SENSOR_FAULT] for o in parameters.outputs)
    return bool(ranged) and same and (ranged[0].above is not None) is ranged[0].rising


def _after_forgetting(parameters: Parameters) -> str:
    """What is forced on in a leak and not in the start-up is late; else the start-up's end is too early a release."""
    forced = [
        o for o in parameters.outputs
        if o.modes[Mode.LEAK_ACTIVE] is Policy.ON and o.modes[Mode.START_UP] is not Policy.ON
    ]  # fmt: skip
    return "too-late" if forced else "too-early"


def _expected_stuck(name: str, output: Output) -> Expected:
    start_up = output.modes[Mode.START_UP]
    if name == "stuck-off":
        if start_up is Policy.ON:
            return "power-up", output.name, "missing"
        return "follow" if output.call is not None else "trip", output.name, "missing"
    if output.feed == "call":
        if output.modes[Mode.LEAK_ACTIVE] is Policy.OFF:
            return "trip", output.name, "missing"
        return "power-up", output.name, "not-allowed"  # when the supply comes with its call on
    if output.feed == "own":  # a contact needs no supply to read closed
        return "trip" if start_up is Policy.ON else "power-up", output.name, "missing"
    if start_up is Policy.OFF:
        return "power-up", output.name, "not-allowed"
    return "power-up", output.name, "missing"


def _expected_crossed(where: tuple[str, ...], parameters: Parameters) -> Expected:
    first, second = (parameters.output(name) for name in where)
    for one, other in ((first, second), (second, first)):
        if one.modes[Mode.START_UP] is Policy.ON and other.modes[Mode.START_UP] is Policy.OFF:
            return "power-up", other.name, "not-allowed"
    order = {call: i for i, call in enumerate(parameters.calls)}
    last = len(order)
    late = max((first, second), key=lambda o: order.get(o.call or "", last))
    return "follow", late.name, "not-allowed"


def seen_in_self_test(parameters: Parameters) -> tuple[str, str] | None:
    """What must end a self-test, and an output that shows it, its calls on as `full` has them then."""
    rules, lossy = parameters.rules, any(s.lost_by for s in parameters.sensors)
    ways = [("loss", Mode.SENSOR_FAULT)] if lossy and rules.loss_in_self_test == "ends" else []
    ways += [("trip", Mode.LEAK_ACTIVE)] if rules.leak_in_self_test == "ends" else []
    for requirement, mode in ways:
        for output in parameters.outputs:
            before, after = (
                policy is Policy.ON or (policy is Policy.FOLLOW and output.modes[mode] is not Policy.ON)
                for policy in (output.modes[Mode.SELF_TEST], output.modes[mode])
            )
            if before is not after:
                return requirement, output.name
    return None


def told_by_output(parameters: Parameters) -> str | None:
    """The first output that does one thing in a leak and another in the hold after it; None: there is none."""
    outputs = (o for o in parameters.outputs if o.modes[Mode.LEAK_ACTIVE] is not o.modes[Mode.POST_LEAK_HOLD])
    return next((o.name for o in outputs), None)


def _first_moved(mode: Mode, parameters: Parameters) -> str | None:
    """The output that moves first, all calls present, when normal gives way to `mode`."""
    span = (lambda o: o.trip) if mode is Mode.LEAK_ACTIVE else (lambda o: o.loss)
    moved = [
        o for o in parameters.outputs if o.modes[mode] is Policy.OFF and o.modes[Mode.NORMAL] is Policy.FOLLOW
    ]
    moved = moved or [o for o in parameters.outputs if o.modes[mode] is not o.modes[Mode.NORMAL]]
    limits = {o.name: s.max_us if (s := span(o)) is not None else 0 for o in moved}
    return min(moved, key=lambda o: limits[o.name]).name if moved else None
