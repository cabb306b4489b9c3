"""A supply that is near the limit below which a joint stops."""

from typing import Final

from coordinator.codes.level import Level
from coordinator.config.joint import Joint
from coordinator.health.warnings import Finding, Kind

DEAD_BAND: Final = 0.02
"""Of the warning: two resistors of 1 % divide the supply for the converter (common practice)."""
BEGIN_AFTER_US: Final = 3_000_000
"""An acceleration, for which all motors draw most, takes a second or less."""
END_AFTER_US: Final = 10_000_000
"""From one move of a program to the next."""

LOW: Final = Kind(
    "supply-low",
    Level.ATTENTION,
    "measure the supply at the base and at this joint: a supply that is too weak, a worn slip ring "
    "or a loose plug make it fall",
    "has enough supply again",
    begin_after_us=BEGIN_AFTER_US,
    end_after_us=END_AFTER_US,
)


def low(joint: Joint, supply_v: float | None) -> Finding:
    """Whether a joint's supply is below its warning."""
    warning_v = joint.supply_warning_v
    if supply_v is None:
        return Finding(LOW, None)
    if supply_v >= warning_v:
        return Finding(LOW, None if supply_v < warning_v * (1.0 + DEAD_BAND) else False)
    return Finding(
        LOW,
        True,
        f"{joint.name} has {supply_v:.1f} V, below its warning at {warning_v:.1f} V; below "
        f"{joint.supply_limit_v:g} V it stops",
    )
