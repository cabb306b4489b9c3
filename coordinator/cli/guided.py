"""What the guided tests share that move a joint: whose it is, whether it may begin, moving it."""

import contextlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from coordinator.cli.common import ExitCode, Failure, client_at, named_joint, read_arm
from coordinator.cli.jog import follow_jog
from coordinator.cli.remote import beware, home_joints, wandered_words
from coordinator.cli.watch import Interrupts, Progress
from coordinator.cli.which_arm import served_arm
from coordinator.cli.written import require_writable
from coordinator.client import Client
from coordinator.config.arm import Arm, Joint
from coordinator.core.homing import JointHoming, figures_in_words
from protocol.constants import EDGE_TIMING_US, US
from protocol.status import Fault

STEPS_LOST: Final = Fault.STEPS_LOST.words[0]


@dataclass(frozen=True, slots=True, kw_only=True)
class AskedTest:
    """What each of these tests is asked, beside what is its own."""

    joint: str
    arm: Path | None
    """The file that is to have what is found."""
    yes: bool
    picture: Path | None
    url: str


@contextlib.contextmanager
def testing(asked: AskedTest) -> Iterator[tuple[Client, Joint, Arm | None]]:
    """The coordinator, the joint that is tested, and the arm file that was named, None without one.
    Raises Failure.
    """
    require_writable("--plot", asked.picture, ".svg")
    arm = None if asked.arm is None else read_arm(asked.arm)
    with client_at(asked.url) as client:
        yield client, tested_joint(client, asked.joint, arm), arm


def noticed_late_deg(speed_deg_s: float) -> float:
    """How far a joint turns at most before it notices that its home sensor switched (the wire
    document).
    """
    return speed_deg_s * EDGE_TIMING_US / US


def tested_joint(client: Client, name: str, arm: Arm | None) -> Joint:
    """The joint that is tested: of `arm`, whose file is to have what is found, else of the
    coordinator's. Raises Failure where the two are not the same, or there is none of that name.
    """
    served = named_joint(served_arm(client), name)
    if arm is None:
        return served
    joint = named_joint(arm, name)
    if (joint.id, figures_in_words(joint)) != (served.id, figures_in_words(served)):
        raise Failure(
            ExitCode.WRONG_INPUT,
            f"{name} has another id or other figures in {arm.path} than in the arm file of the "
            "coordinator: what is found of one says nothing of the other",
        )
    return joint


def require_homed(client: Client, name: str) -> None:
    """Raise Failure for a joint whose angle is not known: it would turn as far as its travel."""
    arm = client.arm()
    beware(arm)
    if not next(one for one in arm.joints if one.name == name).homed:
        raise Failure(
            ExitCode.REFUSED,
            f"{name} is not homed, so it may turn as far as its travel: home it first by unisono "
            f"home {name}",
        )


def home_again(
    client: Client, name: str, *, as_json: bool, may_wander: bool = False
) -> JointHoming:
    """Home a joint in the course of a test; what was found. Raises Failure, also where its home
    wandered, as nothing that follows would be comparable then, unless that is what is looked for.
    """
    result = home_joints(client, [name], as_json=as_json, keeps_control=True)
    wandered = wandered_words(result)
    if wandered and not may_wander:
        raise Failure(ExitCode.NOT_FINISHED, *wandered)
    found = result.joints.get(name)
    if found is None:
        raise Failure(ExitCode.NOT_FINISHED, f"what the homing of {name} found got lost")
    return found


def turn_to_end(
    client: Client, name: str, by_deg: float, speed_deg_s: float, *, as_json: bool
) -> bool:
    """Turn a joint by an angle; False where it stopped for steps that it took for lost. Raises
    Failure where it stopped for anything else. Ctrl-C holds.
    """
    with Interrupts.counted() as pressed:
        client.step(name, by_deg, speed_deg_s)
        arm = follow_jog(client, Progress(quiet=as_json), pressed)
    faults = next(one for one in arm.joints if one.name == name).faults
    if pressed.count or faults is None or set(faults) - {STEPS_LOST}:
        why = "held" if pressed.count else f"it has {' '.join(faults or ('no link',))}"
        raise Failure(ExitCode.NOT_FINISHED, f"{name} was not turned to the end: {why}")
    return not faults
