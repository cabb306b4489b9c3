"""A scenario: an arm, a network, a program, and what goes wrong when. Plain data, kept as JSON."""

import json
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from random import Random
from typing import Any

from coordinator.config.arm import Arm, parse_arm
from coordinator.programs.loops import Loops
from simulator.settings import JointSettings
from simulator.unit import JointUnit

LETTERS = "ABCDEUVWHIJK"
KEY = bytes(range(32))
JOINTS_IN = ("python", "c", "mixed")
"""`mixed` is every second one in C, from the second on."""
OUTPUT = "gripper"
"""On the last joint of every arm; its input follows it."""
HALF_WINDOW_DEG = 0.6
REACH_DEG = 44.0
"""Programs stay within this on both sides of 0: some pass the home sensor again."""
DEAF_SHARE = 0.15
"""Joints that are set not to listen to their own control."""
LOADED_SHARE = 0.3
"""Joints that hold a load, of arms that reduce currents at rest."""
OLDER_SHARE = 0.1
"""Joints of such arms that are of a build which cannot."""
HOME_DEG = 42.0
"""The home sensor sits near the end towards which the search goes, and is met from anywhere."""


@dataclass(frozen=True, slots=True)
class Happening:
    """One fault or one thing that the operator does, `at_ms` after the scenario began.

    Which other fields matter depends on `what` (see `happenings`). `for_ms` is how long it lasts.
    """

    at_ms: int
    what: str
    joints: tuple[int, ...] = ()
    for_ms: int = 0
    amount: float = 0.0
    ways: tuple[str, ...] = ("forward", "back")


@dataclass(frozen=True, slots=True)
class Scenario:
    """All that a world's life depends on."""

    seed: int
    joints: int
    arm_seed: int
    profile: str
    program: tuple[str, ...]
    happenings: tuple[Happening, ...]
    capacities: tuple[int, ...] = ()
    """Points that each joint's buffer holds; 512 where none is named."""
    real_bytes: bool = False
    from_begin: bool = False
    """Whether `at_ms` counts from the beginning instead: homing happens in the middle of it."""
    from_line: int | None = None
    """The line of the program at which its plays begin; None for its beginning."""
    loops: int | None = 1
    """How often a play plays it; None where that is for a time."""
    for_s: float | None = None
    """For so long a play begins loops."""
    check_edges: bool = False
    """Whether home edges are checked between loops."""
    idle_current: bool = False
    """Whether the arm reduces the currents of joints that rest."""
    joints_in: str = "python"
    """In which language its joints are played: one of JOINTS_IN."""
    note: str = field(default="", compare=False)

    @property
    def by_bytes(self) -> bool:
        """Whether messages pass as bytes: joints in C know nothing else."""
        return self.real_bytes or self.joints_in != "python"

    def in_c(self, index: int) -> bool:
        """Whether a joint, counted from 0, is played in C."""
        return self.joints_in == "c" or (self.joints_in == "mixed" and index % 2 == 1)

    @property
    def wanted_loops(self) -> Loops:
        """How often its plays play the program."""
        return Loops(self.loops, self.for_s, self.check_edges)

    def to_json(self) -> str:
        """As it stands in a file."""
        return json.dumps(asdict(self), indent=1)

    @classmethod
    def from_json(cls, text: str) -> "Scenario":
        """From a file."""
        values: dict[str, Any] = json.loads(text)
        happenings = tuple(
            Happening(**{key: _frozen(value) for key, value in one.items()})
            for one in values.pop("happenings")
        )
        return cls(**{key: _frozen(value) for key, value in values.items()}, happenings=happenings)

    def without(self, index: int) -> "Scenario":
        """The same with one thing less that happens."""
        kept = self.happenings[:index] + self.happenings[index + 1 :]
        return replace(self, happenings=kept)


def _frozen(value: Any) -> Any:
    return tuple(value) if isinstance(value, list) else value


def make_arm(scenario: Scenario) -> Arm:
    """An arm of random joints, by way of the file that an owner would write."""
    random = Random(f"arm {scenario.arm_seed}")
    names = [f"j{k}" for k in range(1, scenario.joints + 1)]
    rows = [_joint_rows(random, k, name) for k, name in enumerate(names)]
    order = list(names)
    random.shuffle(order)
    # Drawn apart, so that an arm is the same as it was before its joints could be touched.
    touch = Random(f"touch {scenario.arm_seed}")
    rows = [row + _listens(touch) for row in rows]
    tool = Random(f"tool {scenario.arm_seed}")
    rows[-1] += f'outputs = ["{OUTPUT}"]\ninputs = ["held"]\n'
    idle = ""
    if scenario.idle_current:
        rest = Random(f"rest {scenario.arm_seed}")
        idle = f"[idle_current]\nshare = 0.5\nafter_s = {rest.choice((1.0, 1.5, 3.0))}\n"
        rows = [row + f"holds_load = {json.dumps(rest.random() < LOADED_SHARE)}\n" for row in rows]
    park = ", ".join(f"{name} = 0" for name in names)
    text = (
        f'name = "arm {scenario.arm_seed}"\nhoming_order = {json.dumps(order)}\n'
        f"[poses]\npark = {{ {park} }}\n" + _touch_rows(touch) + _tool_rows(tool)
        + idle + "".join(rows)
    )  # fmt: skip
    return parse_arm(text, Path(f"arm-{scenario.arm_seed}.toml"))


def _listens(random: Random) -> str:
    return "touch = false\n" if random.random() < DEAF_SHARE else ""


def _touch_rows(random: Random) -> str:
    presses = ("hold", "hold", "record", "play", "nothing")
    return (
        f"[touch]\ndetent_deg = {random.choice((0.1, 0.1, 0.5, 1.0))}\n"
        f'press = "{random.choice(presses)}"\nlong_press = "{random.choice(presses)}"\n'
    )


def _tool_rows(random: Random) -> str:
    """What a gripper does by itself; what is awaited behind it is kept, else nobody could go on."""
    if random.random() < 0.5:
        rules = 'wait_on = { input = "held", is = true, within_s = 1 }\non_stop = "off"\n'
    else:
        words = [(key, random.choice(("keep", "off"))) for key in ("hold", "stop", "lost")]
        rules = "".join(f'on_{key} = "{word}"\n' for key, word in words)
    return f'[[tool_outputs]]\noutput = "{OUTPUT}"\non = "M3"\noff = "M5"\n{rules}'


def _joint_rows(random: Random, index: int, name: str) -> str:
    velocity = random.choice([20, 45, 60, 90, 120])
    acceleration = velocity * random.uniform(1.5, 5.0)
    range_deg = '"continuous"' if random.random() < 0.15 else "[-45, 45]"
    search = random.choice([1, -1])
    travel_deg = 95 if range_deg.startswith("[") else 370
    return f"""
[[joints]]
name = "{name}"
id = "0000000000{index + 1:02x}"
word = "{LETTERS[index]}"
full_steps = 200
microsteps = {random.choice([8, 16, 32])}
gear_ratio = {random.choice([5.0, 10.0, 20.0, 37.5])}
direction = {random.choice([1, -1])}
range_deg = {range_deg}
velocity_deg_s = {velocity}
acceleration_deg_s2 = {acceleration:.3f}
jerk_deg_s3 = {acceleration * random.uniform(2.0, 20.0):.3f}
home_deg = {search * HOME_DEG}
homing = {{ direction = {search}, travel_deg = {travel_deg}, fast_deg_s = {min(velocity, 60)}, \
slow_deg_s = 4, backoff_deg = 1.5 }}
temperature_warning_c = 50
temperature_limit_c = 58
supply_limit_v = 12
run_current_a = 1.2
hold_current_a = 0.6
hop_resistance_ohm = 0.05
"""


def make_units(scenario: Scenario, arm: Arm, start_us: int) -> list[JointUnit]:
    """The software joints of an arm, each a few degrees before its home sensor."""
    units: list[JointUnit] = []
    older = Random(f"older {scenario.arm_seed}")
    for k, joint in enumerate(arm.joints):
        per_degree = abs(joint.counts_per_degree)
        sign = joint.homing.direction * (1 if joint.counts_per_degree > 0 else -1)
        centre = joint.to_counts(joint.home_deg)
        ends = sorted(round(centre - sign * away * per_degree) for away in (2.5, 5.0))
        settings = JointSettings(
            id=joint.id,
            name=joint.name,
            seed=scenario.arm_seed * 16 + k,
            counts_per_turn=round(360 * per_degree),
            home_centre=centre,
            home_half_width=round(HALF_WINDOW_DEG * per_degree),
            start_low=ends[0],
            start_high=ends[1],
            continuous=joint.range_deg is None,
            inputs=len(joint.inputs),
            outputs=len(joint.outputs),
            feedback=((0, 0),) if joint.outputs else (),
            point_capacity=scenario.capacities[k] if scenario.capacities else 512,
            reduces_current=not (scenario.idle_current and older.random() < OLDER_SHARE),
        )
        kind = _unit_in_c() if scenario.in_c(k) else JointUnit
        units.append(kind(settings, KEY, float(start_us)))
    return units


def _unit_in_c() -> type[JointUnit]:
    # Only now: joints in Python need no library.
    from tests.campaign.joints_in_c.unit import UnitInC

    return UnitInC
