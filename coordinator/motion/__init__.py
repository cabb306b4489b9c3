"""From a program's steps to trajectory points within the joints' limits. Pure."""

from coordinator.motion.check import (
    CheckedMove,
    CheckResult,
    SlowerCorner,
    SlowerMove,
    check_program,
)
from coordinator.motion.plan import Part, plan_parts
from coordinator.motion.points import PlannedMove
from coordinator.motion.profile import Profile, ProfileError, fastest

__all__ = [
    "CheckResult",
    "CheckedMove",
    "Part",
    "PlannedMove",
    "Profile",
    "ProfileError",
    "SlowerCorner",
    "SlowerMove",
    "check_program",
    "fastest",
    "plan_parts",
]
