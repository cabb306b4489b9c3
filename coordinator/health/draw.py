"""What a joint is taken to draw from the arm's supply, by what it does.

Currents are the arm file's; what no file says is assumed. A motor's driver makes the current it is
set to, whatever the supply's volts, so what it draws is heat in the windings; work that the motor
does, and what hangs on its outputs, is not counted.
"""

from typing import Final

from coordinator.config.joint import Joint
from coordinator.health.supply import feeds
from protocol.states import MOVING_STATES
from protocol.status import Status

WINDING_OHM: Final = 2.0
"""Of one winding, assumed: a motor of 42 mm for 1 to 1.5 A (common practice)."""
IDLE_W: Final = 1.0
"""Of controller, radio and sensors, assumed."""


def current_a(joint: Joint, idle_share: float, status: Status) -> float:
    """The current that a joint's driver makes in its motor, by its last status.

    `idle_share` is that of the hold current after long at rest. A joint says that it is energised
    as long as its driver is let on, whether or not there is a supply to make current of.
    """
    if not status.energised or not feeds(status):
        return 0.0
    if status.state in MOVING_STATES:
        return joint.run_current_a
    return joint.hold_current_a * (idle_share if status.reduced else 1.0)


def drawn_watts(joint: Joint, idle_share: float, status: Status) -> float:
    """By its last status, in W."""
    return _with_motor(current_a(joint, idle_share, status))


def most_watts(joint: Joint) -> float:
    """In motion, in W."""
    return _with_motor(joint.run_current_a)


def _with_motor(amperes: float) -> float:
    # Peak current, microstepped: the two windings' sin and cos together are I²R at any position.
    return IDLE_W + amperes * amperes * WINDING_OHM
