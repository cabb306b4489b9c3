"""The arm to measure with in virtual time, and the short moves that its starts begin."""

from pathlib import Path

from coordinator.arm import Arm, parse_arm
from tests.quick_arm import arm_text

NEAR_DEG = -150.0
STEP_DEG = 2.0
"""From one start's move to the next: there and back."""


def arm(joints: int) -> Arm:
    """An arm for virtual time, where nobody else can have its ids."""
    return parse_arm(arm_text(joints, "be9c000000"), Path("bench.toml"))


def step_program(arm: Arm, at_deg: float) -> str:
    """A short move of all joints, from where the first one stands: 2° one way, or back."""
    target = NEAR_DEG if abs(at_deg - NEAR_DEG) > STEP_DEG / 2 else NEAR_DEG + STEP_DEG
    return f"G0 {' '.join(f'{word}{target:g}' for word in arm.words)}\nM2\n"
