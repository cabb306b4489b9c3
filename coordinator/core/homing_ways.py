"""What each joint will do as it is homed, for people to look at before they let it go.

No kinematics are known here: nothing says that a way is free.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from coordinator.config.arm import Arm
from coordinator.core.link.link import JointLink


@dataclass(frozen=True, slots=True)
class HomingWay:
    """How one joint would turn if it were homed now."""

    joint: str
    angle_known: bool
    """Whether it counts as homed and is heard; else nobody knows where it stands."""
    searches: Literal["larger", "smaller"]
    """Towards which angles it looks for its home sensor."""
    travel_deg: float
    """How far at most, from where it stands as it begins: either way, as it may have to go back
    first."""
    on_sensor: bool | None
    """Whether it stands on its sensor: then it first turns the other way, off it and
    `backoff_deg` further. Not so, it may go back first all the same, to where it met its sensor
    last. None where it does not tell."""
    backoff_deg: float
    speed_deg_s: float
    """The fastest that it turns meanwhile."""
    may_collide: str
    """What it may run into, in the words of the arm file; empty where that says nothing."""


def homing_ways(arm: Arm, links: Sequence[JointLink], now: int) -> tuple[HomingWay, ...]:
    """Of all joints, in the order in which they are homed."""
    by_name = {link.name: link for link in links}
    return tuple(_way(by_name[name], now) for name in arm.homing_order)


def _way(link: JointLink, now: int) -> HomingWay:
    joint, status = link.joint, link.status if link.heard(now) else None
    return HomingWay(
        joint=link.name,
        angle_known=status is not None and link.homed,
        searches="larger" if joint.homing.direction > 0 else "smaller",
        travel_deg=joint.homing.travel_deg,
        on_sensor=None if status is None else status.home_sensor,
        backoff_deg=joint.homing.backoff_deg,
        speed_deg_s=joint.homing.fast_deg_s,
        may_collide=joint.may_collide,
    )
