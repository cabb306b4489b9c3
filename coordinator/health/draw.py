"""What a joint is taken to draw from the arm's supply, by what it does.

Currents are the arm file's; what no file says is assumed. A motor's driver makes the current it is
set to, whatever the supply's volts, so what it draws is heat in the windings; work that the motor
does, and what hangs on its outputs, is not counted.
"""

from typing import Final

from coordinator.config.arm import Arm
from coordinator.config.joint import Joint
from protocol.states import MOVING_STATES
from protocol.status import Status

WINDING_OHM: Final = 2.0
"""Of one winding, assumed: a motor of 42 mm for 1 to 1.5 A (common practice)."""
IDLE_W: Final = 1.0
"""Of controller, radio and sensors, assumed."""


def drawn_watts(arm: Arm, joint: Joint, status: Status) -> float:
    """By its last status, in W."""
    if not status.energised:
        return IDLE_W
    if status.state in MOVING_STATES:
        return most_watts(joint)
    share = arm.idle_current.share if status.reduced and arm.idle_current is not None else 1.0
    return _with_motor(joint.hold_current_a * share)


def most_watts(joint: Joint) -> float:
    """In motion, in W."""
    return _with_motor(joint.run_current_a)


def _with_motor(current_a: float) -> float:
    # Peak current, microstepped: the two windings' sin and cos together are I²R at any position.
    return IDLE_W + current_a * current_a * WINDING_OHM
