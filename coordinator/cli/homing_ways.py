"""What joints will do as they are homed, told before anybody lets them; and one after another.

No kinematics are known: whatever is told, nobody but who looks knows whether a way is free.
"""

import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

from coordinator.cli.common import ExitCode, Failure, err, out

if TYPE_CHECKING:
    from coordinator.client.values import ArmSnapshot
    from coordinator.core.homing_ways import HomingWay

UNSTATED: Final = (
    "what it may run into is not stated in the arm file (may_collide): anything within its reach, "
    "other parts of this arm and its cables among it"
)


def ways_of(arm: "ArmSnapshot", names: Sequence[str]) -> "list[HomingWay]":
    """Of these joints, all for none named, first homed first; none of an older coordinator."""
    return [one for one in arm.homing_ways or () if not names or one.joint in names]


def way_words(way: "HomingWay") -> str:
    """How a joint would turn, and into what, in sentences."""
    other = "smaller" if way.searches == "larger" else "larger"
    known = "" if way.angle_known else " Where it stands is not known."
    if way.on_sensor:
        first = (
            f"it stands on its home sensor, so it first turns towards {other} angles, off it and "
            f"{way.backoff_deg:g}° further"
        )
    else:
        first = (
            f"it may first turn back towards {other} angles, to where it met its home sensor last"
        )
    risk = f"it may run into {way.may_collide}" if way.may_collide else UNSTATED
    return (
        f"{way.joint} turns towards {way.searches} angles, at up to {way.speed_deg_s:g} °/s and by "
        f"at most {way.travel_deg:g}° from where it stands; {first}, by at most as much.{known} "
        f"{risk[0].upper()}{risk[1:]}."
    )


def tell_ways(ways: "Sequence[HomingWay]") -> None:
    """All of them, in the order of homing."""
    for number, way in enumerate(ways, 1):
        out().print(f"{number}. {way_words(way)}")


def is_blind(ways: "Sequence[HomingWay]") -> bool:
    """Whether some joint's angle is not known."""
    return not all(way.angle_known for way in ways)


def lets_go(way: "HomingWay") -> None:
    """Wait until whoever sits there lets this joint be homed. Raises Failure where not."""
    out().print(way_words(way))
    err().print(f"Look at {way.joint}. Enter homes it, q and Enter leaves: ", end="")
    line = sys.stdin.readline()
    if not line or line.strip():
        raise Failure(ExitCode.NOT_FINISHED, f"left before {way.joint} was homed: it was not moved")
