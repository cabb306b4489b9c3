"""Where the steps of a joint in C have taken its motor, and where its core takes it to be.

All other rules look at the image of a joint in C: its state, read by the laws in Python. So the
core's own word of where it is, and the steps that it makes of it, are held against that here.
"""

from typing import Final

from coordinator.rehearsal.joint_node import Node
from tests.campaign.invariants.base import Invariant
from tests.campaign.joints_in_c.joint import JointInC

STEP_COUNTS: Final = 256
AWAY_COUNTS: Final = STEP_COUNTS * (0.5 + 0.017) + 1
"""Half a step by rounding, and by what steps are off (deploy/joint/README.md, "How exact")."""
LATE_S: Final = 10e-6
"""Steps keep so long apart, at least, where the direction changes."""
IMAGE_COUNTS: Final = 2.0
IMAGE_S: Final = 3e-6
"""By which both laws may differ in when the joint is where (protocol/README.md)."""


class MotorFollows(Invariant):
    """Looks at joints in C alone."""

    name = "motor"

    def touched(self, node: Node) -> None:
        joint = node.unit.joint
        if not isinstance(joint, JointInC) or not node.alive:
            return
        now = joint.core.now
        image, velocity = joint._body.position(now.now_us)
        if abs(image - now.position) > IMAGE_COUNTS + abs(velocity) * IMAGE_S:
            raise self.broken(
                f"{node.name} takes itself to be at {now.position:.1f} counts, by the law it is at "
                f"{image:.1f}"
            )
        away = now.motor - now.position
        if joint.energised and abs(away) > AWAY_COUNTS + abs(velocity) * LATE_S:
            raise self.broken(
                f"the steps of {node.name} have taken it {away:+.1f} counts from where it takes "
                "itself to be"
            )
