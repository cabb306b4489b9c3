"""A supply that is near the limit below which a joint stops, would fall below it, or is none."""

from collections.abc import Sequence
from typing import Final

from coordinator.codes.alarm_origin import AlarmOrigin
from coordinator.codes.priority import Priority
from coordinator.config.joint import Joint
from coordinator.health.alarm_kind import Finding, Kind
from protocol.status import Status

DEAD_BAND: Final = 0.02
"""Of the warning: two resistors of 1 % divide the supply for the converter (common practice)."""
BEGIN_AFTER_US: Final = 3_000_000
"""An acceleration, for which all motors draw most, takes a second or less."""
END_AFTER_US: Final = 10_000_000
"""From one move of a program to the next."""

GONE_V: Final = 1.0
"""Below it there is no motor supply: a logic that answers has another."""
BACK_V: Final = 3.0
"""From it on there is some again."""

LOW: Final[Kind] = Kind(
    "supply-low",
    Priority.MEDIUM,
    AlarmOrigin.SUPPLY,
    cause="a supply that is too weak, a worn slip ring or a loose plug",
    consequence="if it falls further, the joint stops at its limit and the arm with it",
    advice="measure the supply at the base and at this joint, and mend what makes it fall between",
    over="has enough supply again",
    dead_band=f"{DEAD_BAND:.0%} above its supply_warning_v",
    begin_after_us=BEGIN_AFTER_US,
    end_after_us=END_AFTER_US,
)
SHORT: Final[Kind] = Kind(
    "supply-short",
    Priority.LOW,
    AlarmOrigin.SUPPLY,
    cause="a hop of the supply has too many ohms, or the joints draw more than it can carry",
    consequence="with all joints in motion at once, this one would stop and the arm with it",
    advice="play nothing before the supply has more to spare: a higher voltage within what the "
    "joints bear, thicker wires, or a new slip ring where a hop has far more ohms than the others",
    over="is expected to keep enough supply with all joints in motion",
    dead_band=f"{DEAD_BAND:.0%} above its supply_limit_v, of the volts to expect",
    end_after_us=END_AFTER_US,
)
GONE: Final[Kind] = Kind(
    "motor-supply-lost",
    Priority.HIGH,
    AlarmOrigin.SUPPLY,
    cause="the motor supply's switch, fuse, a plug or a slip ring up to this joint",
    consequence="nothing holds the joint but friction: what it holds up can sink or fall",
    advice="support what it holds up and stay out of the arm's reach; then look at the motor "
    "supply's switch, fuse, plugs and slip rings up to this joint. Its motor has its force again, "
    "and may jerk, when the supply is back",
    over="has motor supply again; home it, as it may have been turned meanwhile",
    dead_band=f"{BACK_V:g} V, where {GONE_V:g} V is none",
)


def is_gone(status: Status) -> bool:
    """Whether a joint that answers has no supply for its motor."""
    return status.supply_mv is not None and status.supply_mv < GONE_V * 1_000


def feeds(status: Status) -> bool:
    """Whether a joint's supply is enough for any current; so is one that it does not measure."""
    return status.supply_mv is None or status.supply_mv >= BACK_V * 1_000


def gone(joint: Joint, supply_v: float | None) -> Finding:
    """Whether a joint that answers has no supply for its motor: it is not dead, but limp."""
    if supply_v is None or GONE_V <= supply_v < BACK_V:
        return Finding(GONE, None)
    if supply_v >= BACK_V:
        return Finding(GONE, False)
    return Finding(
        GONE,
        True,
        f"{joint.name} {no_supply(supply_v)}: nothing holds it but friction, and it can sink",
    )


def no_supply(supply_v: float) -> str:
    """Of a joint that answers and has none, a clause."""
    return f"has no motor supply ({supply_v:.1f} V) while its logic answers"


def below_v(volts: float, limit_v: float) -> str:
    """Volts below a limit, with as many digits as it takes not to be rounded up to it."""
    for digits in (1, 2, 3):
        if float(said := f"{volts:.{digits}f}") < limit_v - 1e-9:
            return f"{said} V"
    return f"just under {limit_v:.4g} V"


def below_warning(joints: Sequence[Joint], volts: Sequence[float]) -> str:
    """Which joints' volts are below their warning, each with its warning, a clause; or nothing."""
    low = [
        f"{joint.name} {below_v(volt, joint.supply_warning_v)} ({joint.supply_warning_v:.4g} V)"
        for joint, volt in zip(joints, volts, strict=True)
        if volt < joint.supply_warning_v
    ]
    return f"below its supply_warning_v: {', '.join(low)}" if low else ""


def is_enough(joint: Joint, expected_v: float | None) -> bool:
    """Whether what is expected is clear of a joint's limit; None for a supply that collapses."""
    return expected_v is not None and expected_v >= joint.supply_limit_v * (1.0 + DEAD_BAND)


def short(joint: Joint, expected_v: float | None, figures: str) -> Finding:
    """Whether a joint would stop with all joints in motion.

    `expected_v` is what it would have then, None where the supply would collapse; `figures` says
    whose figures that is made of, a clause.
    """
    limit_v = joint.supply_limit_v
    if expected_v is not None and expected_v >= limit_v:
        return Finding(SHORT, False if is_enough(joint, expected_v) else None)
    found = (
        "the supply would collapse"
        if expected_v is None
        else f"{joint.name} was expected when this began to have {below_v(expected_v, limit_v)}"
    )
    return Finding(
        SHORT,
        True,
        f"at worst, with all joints in motion, {found}; below {limit_v:g} V {joint.name} stops, "
        f"and the arm with it ({figures})",
    )


def low(joint: Joint, supply_v: float | None) -> Finding:
    """Whether a joint's supply is below its warning."""
    warning_v = joint.supply_warning_v
    if supply_v is None or supply_v < GONE_V:  # that has a warning of its own
        return Finding(LOW, None)
    if supply_v >= warning_v:
        return Finding(LOW, None if supply_v < warning_v * (1.0 + DEAD_BAND) else False)
    return Finding(
        LOW,
        True,
        f"{joint.name} had {below_v(supply_v, warning_v)} when this began, below its warning at "
        f"{warning_v:.4g} V; below "
        f"{joint.supply_limit_v:g} V it stops",
    )
