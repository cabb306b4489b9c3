"""An arm file begun from joints that were found.

What nobody can know of a joint by asking it (its gear, its range, which way it turns) stands as a
value that the arm file's own check refuses, so that the check names each line that is still to be
filled in, and no arm moves by a figure that nobody measured. The rest is cautious and marked.
"""

import re
import string
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from coordinator.config.arm import MAX_JOINTS, ArmFileError, parse_arm
from coordinator.config.joint import DEFAULT_WORDS, NAME, SPARE_WORDS
from coordinator.config.mistake import Mistake

FILL_IN: Final = "FILL IN"
"""Marks a line that is refused until its owner has written a value."""
CHECK: Final = "CHECK"
"""Marks a cautious value that is taken as it is, and that its owner should look at."""
LONGEST_TOLD: Final = 48
"""Characters of what a stranger says of itself: they stand in a comment."""
_HARMLESS: Final = frozenset(string.ascii_letters + string.digits + " .:_+-/")
_WORDS: Final = (*DEFAULT_WORDS, *SPARE_WORDS)


@dataclass(frozen=True, slots=True)
class FoundJoint:
    """One joint, as the network or its cable told of it."""

    id: str
    """12 hex digits."""
    told: str
    """Where and how it was found, a sentence for a comment."""
    name: str = ""
    """What it was called when it was set up; empty where nobody told."""


def arm_draft(joints: Sequence[FoundJoint]) -> str:
    """The text of an arm file with these joints, base to tool. Raises ValueError for none, for more
    than an arm may have, and for two of one id.
    """
    if not 1 <= len(joints) <= MAX_JOINTS:
        raise ValueError(f"{len(joints)} joints, but an arm has 1 to {MAX_JOINTS}")
    if len({joint.id for joint in joints}) < len(joints):
        raise ValueError("two joints have one id")
    names = _names(joints)
    rows = zip(joints, names, _WORDS, strict=False)
    return _HEAD.format(
        order=", ".join(f'"{name}"' for name in reversed(names)),
        park=", ".join(f"{name} = nan" for name in names),
    ) + "".join(_joint(joint, name, word) for joint, name, word in rows)


def to_fill_in(text: str, path: Path) -> tuple[Mistake, ...]:
    """What an arm file lacks still, in its order: each with its line; none where it can be used."""
    try:
        parse_arm(text, path)
    except ArmFileError as error:
        return error.mistakes
    return ()


def _names(joints: Sequence[FoundJoint]) -> list[str]:
    """What they were called, each name once; a number for all others."""
    names: list[str] = []
    for index, joint in enumerate(joints):
        is_name = re.fullmatch(NAME, joint.name) is not None
        is_free = all(joint.name != name for name in names)
        names.append(joint.name if is_name and is_free else _numbered(index + 1, joints, names))
    return names


def _numbered(number: int, joints: Sequence[FoundJoint], taken: Sequence[str]) -> str:
    called = {joint.name for joint in joints}.union(taken)
    name = f"joint{number}"
    while name in called:
        name += "x"
    return name


def _joint(joint: FoundJoint, name: str, word: str) -> str:
    told = "".join(one if one in _HARMLESS else "?" for one in joint.told)[:LONGEST_TOLD]
    return _JOINT.format(id=joint.id, told=told, name=name, word=word)


_HEAD: Final = """\
# An arm file, begun by 'unisono arm new' from the joints that were found. It is yours now.
#
# FILL IN marks what no joint can tell of itself: until you have measured it and written it there,
# this file is refused, line by line. CHECK marks cautious values that are taken as they are: look
# at each, most are slower or cooler than the joint may be. 'unisono arm check FILE' tells what is
# wrong still. Every key that has a unit carries it in its name; no key is passed over that is not
# known.
#
# A wrong gear_ratio, direction or range lets a joint turn further than you think, or the other
# way: measure, do not guess. Bring up one joint after another before you play any program.

name = "my arm"  # CHECK: what people are to call it

source_v = 24  # CHECK: volts of the supply, for software joints and for checks

# First homed first: the tool's end folds up before the base swings.
homing_order = [{order}]  # CHECK

# Shares of each joint's velocity_deg_s that a hand turns it by.
[jog_speeds]
fine = 0.02
normal = 0.1  # CHECK
fast = 0.2  # CHECK
teaching = 0.1  # CHECK

# Named poses, in degrees. `park` is where the arm rests safely, also once its motors are off.
[poses]
park = {{ {park} }}  # FILL IN: the angle of each joint

# Joints from base to tool: put these tables into that order, if they are not. A joint that you know
# not which it is tells it by its light ('Bring up' on the page).
"""

_JOINT: Final = """
[[joints]]
# {told}
name = "{name}"  # CHECK: after its place, such as "shoulder"
id = "{id}"
word = "{word}"  # CHECK: its letter in programs
full_steps = 200  # CHECK: full steps of its motor a turn; 200 is a motor of 1.8 degrees a step
microsteps = 16  # CHECK: as its driver is set
gear_ratio = 0  # FILL IN: turns of the motor for one turn of the joint
direction = 0  # FILL IN: 1 where positive steps turn it to larger angles, else -1
range_deg = []  # FILL IN: [lowest, highest] angle that nothing stands in, or "continuous"
velocity_deg_s = 10  # CHECK: slow, until the joint is known
acceleration_deg_s2 = 20  # CHECK
jerk_deg_s3 = 100  # CHECK
home_deg = nan  # FILL IN: its angle at the middle of its home sensor
# direction: 1 or -1, towards larger or smaller angles; travel_deg: how far the search may go.
homing.direction = 0  # FILL IN
homing.travel_deg = 0  # FILL IN
homing.fast_deg_s = 5  # CHECK
homing.slow_deg_s = 1  # CHECK
homing.backoff_deg = 3  # CHECK
printed_material = "PLA"  # CHECK: PLA goes soft first; it stops at 4 degrees below that
temperature_warning_c = 45  # CHECK
supply_limit_v = 20  # CHECK: for a supply of 24 V; the joint stops below
run_current_a = 0  # FILL IN: of its motor's data sheet, not above what its driver may
hold_current_a = nan  # FILL IN: at rest, not above run_current_a
holds_load = true  # CHECK: false where it holds nothing up but itself at rest
hop_resistance_ohm = 0.1  # CHECK: of the slip ring and cable that feed it from the joint before
"""
