"""The small arm of `kit` with a gripper on its tip, whose input follows it by 0.1 s."""

from dataclasses import replace
from pathlib import Path

from coordinator.config.arm import Arm, parse_arm
from coordinator.core.run import Phase
from coordinator.rehearsal.world import World
from simulator.network import Profile
from simulator.unit import JointUnit
from tests.coordinator.core.kit import (
    NAMES,
    S,
    all_up,
    home,
    play,
    small_arm,
    truth,
    units,
    until,
    until_phase,
)  # fmt: skip

TOOL = '\n[[tool_outputs]]\noutput = "gripper"\non = "M3"\noff = "M5"\n'
WAIT = 'wait_on = { input = "held", is = true, within_s = 2 }\n'
GRIP = "G90 G94\nG0 A20 B10 C5\nM3\nG0 A0 B0 C0\nM5\nG0 A5\nM2\n"
TIP = NAMES.index("tip")


def gripping_arm(tool: str = WAIT) -> Arm:
    """The arm; `tool` is what the arm file says more of its gripper."""
    text = small_arm().text + 'outputs = ["gripper"]\ninputs = ["held"]\n' + TOOL + tool
    return parse_arm(text, Path("small.toml"))


def gripping_world(
    profile: str | Profile = "none", seed: int = 1, *, tool: str = WAIT, outputs: int = 1
) -> World:
    """A world whose joints are all homed; the tip has so many outputs, and one input."""
    arm = gripping_arm(tool)
    made = units(arm, seed)
    settings = replace(made[TIP].settings, outputs=outputs, inputs=1, feedback=((0, 0),))
    made[TIP] = JointUnit(settings, bytes(32), 1e6)
    world = World(arm, made, profile, seed)
    until(world, lambda: all_up(world), 60 * S)
    home(world)
    world.run_for(1 * S)  # the last to home confirms that it rests
    truth(world)
    world.notes.clear()
    return world


def waiting_world(profile: str | Profile = "none") -> World:
    """A world whose run waits for an input that does not come."""
    world = gripping_world(profile)
    world.units[TIP].follows = False
    play(world, GRIP)
    until_phase(world, Phase.WAITING)
    return world


def gripper(world: World) -> bool:
    """Whether it is truly on."""
    return bool(world.units[TIP].joint.outputs & 1)
