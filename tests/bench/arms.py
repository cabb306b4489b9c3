"""Arms to measure with: all joints alike, quickly homed, up to the most that an arm may have."""

from pathlib import Path

from coordinator.arm import Arm, parse_arm
from coordinator.arm_joint import DEFAULT_WORDS, SPARE_WORDS

HOME_DEG = -160.0
NEAR_DEG = -150.0
STEP_DEG = 2.0
"""From one start's move to the next: there and back."""

_NAMES = ("turntable", "shoulder", "elbow", "forearm", "wrist", "tool")
_JOINT = """
[[joints]]
name = "{name}"
id = "{id}"
word = "{word}"
full_steps = 200
microsteps = 16
gear_ratio = 20.0
direction = 1
range_deg = [-170, 170]
velocity_deg_s = 60
acceleration_deg_s2 = 120
jerk_deg_s3 = 600
home_deg = {home}
homing = {{ direction = -1, travel_deg = 340, fast_deg_s = 40, slow_deg_s = 10, backoff_deg = 2 }}
temperature_warning_c = 50
temperature_limit_c = 58
supply_limit_v = 18
run_current_a = 1.0
hold_current_a = 0.5
hop_resistance_ohm = 0.02
"""


def arm_text(joints: int, ids: str) -> str:
    """An arm file; `ids` are the ten hex digits that the joints' ids begin with."""
    names = [_NAMES[k] if k < len(_NAMES) else f"joint{k + 1}" for k in range(joints)]
    words = DEFAULT_WORDS + SPARE_WORDS
    park = ", ".join(f"{name} = {HOME_DEG:g}" for name in names)
    order = ", ".join(f'"{name}"' for name in names)
    head = f'name = "bench"\nhoming_order = [{order}]\n[poses]\npark = {{ {park} }}\n'
    return head + "".join(
        _JOINT.format(name=name, id=f"{ids}{k:02x}", word=words[k], home=HOME_DEG)
        for k, name in enumerate(names)
    )


def arm(joints: int) -> Arm:
    """An arm for virtual time, where nobody else can have its ids."""
    return parse_arm(arm_text(joints, "be9c000000"), Path("bench.toml"))


def step_program(arm: Arm, at_deg: float) -> str:
    """A short move of all joints, from where the first one stands: 2° one way, or back."""
    target = NEAR_DEG if abs(at_deg - NEAR_DEG) > STEP_DEG / 2 else NEAR_DEG + STEP_DEG
    return f"G0 {' '.join(f'{word}{target:g}' for word in arm.words)}\nM2\n"
