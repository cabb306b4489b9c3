"""The arm to measure with in virtual time, and the short moves that its starts begin."""

from dataclasses import replace
from pathlib import Path

from coordinator.config.arm import MAX_JOINTS, Arm, parse_arm
from tests.quick_arm import arm_text

IDS = "be9c000000"
NEAR_DEG = -150.0
STEP_DEG = 2.0
"""From one start's move to the next: there and back."""


GRIPPER = """outputs = ["gripper"]
inputs = ["held"]
[[tool_outputs]]
output = "gripper"
on = "M3"
off = "M5"
"""
"""On the last joint of an arm file, behind which it stands."""


def gripping_arm(joints: int) -> Arm:
    """An arm for virtual time with a gripper on its last joint, of which nothing is awaited."""
    return parse_arm(arm_text(joints, IDS) + GRIPPER, Path("bench.toml"))


def arm(joints: int) -> Arm:
    """An arm for virtual time, where nobody else can have its ids.

    It may have more joints than an arm file may describe; those have no letter of their own.
    """
    few = parse_arm(arm_text(min(joints, MAX_JOINTS), IDS), Path("bench.toml"))
    more = tuple(
        replace(few.joints[-1], name=f"joint{k + 1}", id=f"{IDS}{k:02x}")
        for k in range(MAX_JOINTS, joints)
    )
    return replace(
        few,
        joints=few.joints + more,
        homing_order=few.homing_order + tuple(joint.name for joint in more),
        poses={name: (angles[0],) * joints for name, angles in few.poses.items()},
    )


def next_deg(at_deg: float) -> float:
    """Where a short move leads from there: 2° one way, or back."""
    return NEAR_DEG if abs(at_deg - NEAR_DEG) > STEP_DEG / 2 else NEAR_DEG + STEP_DEG


def step_program(arm: Arm, at_deg: float) -> str:
    """A short move of all joints, from where the first one stands."""
    return f"G0 {' '.join(f'{word}{next_deg(at_deg):g}' for word in arm.words)}\nM2\n"
