"""An arm for tests and bench: joints all alike, quickly homed, up to as many as an arm may have."""

import json
import secrets

from coordinator.config.joint import DEFAULT_WORDS, SPARE_WORDS

HOME_DEG = -160.0
VELOCITY_DEG_S = 60.0
ACCELERATION_DEG_S2 = 120.0
NAMES = ("turntable", "shoulder", "elbow", "forearm", "wrist", "tool")
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
velocity_deg_s = {velocity}
acceleration_deg_s2 = {acceleration}
jerk_deg_s3 = 600
home_deg = {home}
homing = {{ direction = -1, travel_deg = 340, fast_deg_s = 40, slow_deg_s = 10, backoff_deg = 2 }}
temperature_warning_c = 50
temperature_limit_c = 58
supply_limit_v = 18
run_current_a = 1.0
hold_current_a = 0.5
hop_resistance_ohm = 0.02
touch = {touch}
"""


def arm_text(joints: int = 3, ids: str | None = None, *, touch: bool = True) -> str:
    """An arm file. `ids`: ten hex digits that all ids begin with; without, some nobody else has.

    Without `touch` nobody listens to the joints' own controls: an arm at rest takes less then.
    """
    first = secrets.token_hex(5) if ids is None else ids
    names = [NAMES[k] if k < len(NAMES) else f"joint{k + 1}" for k in range(joints)]
    words = DEFAULT_WORDS + SPARE_WORDS
    park = ", ".join(f"{name} = {HOME_DEG:g}" for name in names)
    head = f'name = "quick arm"\nhoming_order = {json.dumps(names)}\n[poses]\npark = {{ {park} }}\n'
    return head + "".join(
        _JOINT.format(
            name=name,
            id=f"{first}{k:02x}",
            word=words[k],
            home=HOME_DEG,
            velocity=VELOCITY_DEG_S,
            acceleration=ACCELERATION_DEG_S2,
            touch=json.dumps(touch),
        )
        for k, name in enumerate(names)
    )
