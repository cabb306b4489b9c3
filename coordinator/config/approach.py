"""From which side a joint is to arrive where it stops, and how it is read from `arm.toml`."""

import math
from dataclasses import dataclass
from typing import Final

from coordinator.config.toml_table import Table

MAX_OVERTRAVEL_DEG: Final = 10.0
"""Beyond any play that a joint can be used with; more is a slip of the point."""


@dataclass(frozen=True, slots=True)
class Approach:
    """A joint that comes from the wrong side turns further, and then back to where it stops."""

    direction: int
    """1 or −1: how the joint turns as it arrives, towards larger or smaller angles."""
    overtravel_deg: float
    """How far beyond its target it turns first. More than the play, else it is in vain."""


def read_approach(
    joint: Table, label: str, range_deg: tuple[float, float] | None, reversal_error_deg: float
) -> Approach | None:
    """The table `approach` of a joint, which may be left out."""
    if not joint.has("approach"):
        return None
    table = joint.table("approach", f"{label} approach:")
    if table is None:
        return None
    approach = Approach(
        direction=table.sign("direction"),
        overtravel_deg=table.number("overtravel_deg", 0.0, MAX_OVERTRAVEL_DEG, "°", above=True),
    )
    table.finish()
    far = approach.overtravel_deg
    if far <= reversal_error_deg:
        table.complain(
            "overtravel_deg",
            f"overtravel_deg is {far:g}, but must be above reversal_error_deg "
            f"{reversal_error_deg:g}°, else it takes no play up",
        )
    width_deg = math.inf if range_deg is None else range_deg[1] - range_deg[0]
    if far >= width_deg:
        table.complain(
            "overtravel_deg",
            f"overtravel_deg is {far:g}, but must be below the {width_deg:g}° of range_deg",
        )
    return approach
