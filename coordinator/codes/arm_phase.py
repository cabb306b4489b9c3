"""What is under way with the arm, in one word."""

from enum import StrEnum
from typing import Final


class ArmPhase(StrEnum):
    """What is under way: a run's phase, a homing, a jog or nothing."""

    IDLE = "idle"
    HOMING = "homing"
    JOGGING = "jogging"
    LOADING = "loading"
    PREPARING = "preparing"
    STARTING = "starting"
    MOVING = "moving"
    HOLDING = "holding"
    HELD = "held"
    DISCARDING = "discarding"
    WAITING = "waiting"
    PAUSED = "paused"

    @property
    def busy(self) -> bool:
        """Whether something moves, or will without another command."""
        return self not in _WAITS


_WAITS: Final = frozenset({ArmPhase.IDLE, ArmPhase.HELD, ArmPhase.PAUSED})
