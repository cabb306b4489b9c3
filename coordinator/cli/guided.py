"""What the guided tests share that move a joint: whose it is, whether it may begin, moving it."""

import contextlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from coordinator.cli.common import ExitCode, Failure, client_at, named_joint, read_arm
from coordinator.cli.condition import headline, unconfirmed
from coordinator.cli.jog import follow_jog
from coordinator.cli.remote import beware, home_joints, wandered_words
from coordinator.cli.watch import Interrupts, Progress
from coordinator.cli.which_arm import served_arm
from coordinator.cli.written import require_writable
from coordinator.client import Client
from coordinator.client.values import ArmSnapshot, JointSnapshot
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
    """The joint that is tested, with the figures by which the coordinator moves it. Raises Failure
    where the file that is to have what is found has another, or there is none of that name.
    """
    served = named_joint(served_arm(client), name)
    if arm is not None and _measured_by(named_joint(arm, name)) != _measured_by(served):
        raise Failure(
            ExitCode.WRONG_INPUT,
            f"{name} has another id or other figures in {arm.path} than in the arm file of the "
            "coordinator: what is found of one says nothing of the other",
        )
    return served


def _measured_by(joint: Joint) -> tuple[object, ...]:
    """What an angle that is found depends on."""
    gear = joint.full_steps, joint.microsteps, joint.gear_ratio, joint.direction
    return joint.id, figures_in_words(joint), gear


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


def require_unstopped(arm: ArmSnapshot, name: str) -> JointSnapshot:
    """The joint, which is about to be moved on. Raises Failure where somebody has stopped it: what
    homes or turns it next would clear that.
    """
    joint = next(one for one in arm.joints if one.name == name)
    if joint.stop or joint.stop_wanted:
        raise Failure(
            ExitCode.NOT_FINISHED,
            *unconfirmed(arm),
            f"{name} is stopped, so this test moves nothing more ({headline(arm)}). Once it may "
            f"move again: unisono home {name}",
        )
    return joint


def home_again(
    client: Client, name: str, *, as_json: bool, may_wander: bool = False
) -> JointHoming:
    """Home a joint in the course of a test; what was found. Raises Failure, also where it was
    stopped, and where its home wandered, as nothing that follows would be comparable then, unless
    that is what is looked for.
    """
    require_unstopped(client.arm(), name)
    result = home_joints(client, [name], as_json=as_json, keeps_control=True)
    wandered = wandered_words(result)
    if wandered and not may_wander:
        raise Failure(ExitCode.NOT_FINISHED, *wandered)
    found = result.joints.get(name)
    if found is None:
        raise Failure(ExitCode.NOT_FINISHED, f"what the homing of {name} found got lost")
    return found


def on_home_sensor(client: Client, name: str) -> bool | None:
    """Whether a joint stands on its home sensor; None where it does not tell."""
    ways = client.arm().homing_ways or ()
    return next((one.on_sensor for one in ways if one.joint == name), None)


def turn_to_end(
    client: Client, name: str, by_deg: float, speed_deg_s: float, *, as_json: bool
) -> bool:
    """Turn a joint by an angle; False where it stopped for steps that it took for lost. Raises
    Failure where it stopped for anything else, by whoever's hand, or rests elsewhere than where the
    angle ends. Ctrl-C holds.
    """
    with Interrupts.counted() as pressed:
        from_deg = require_unstopped(client.arm(), name).position_deg
        client.step(name, by_deg, speed_deg_s)
        arm = follow_jog(client, Progress(quiet=as_json), pressed)
    joint = require_unstopped(arm, name)
    if pressed.count or joint.faults is None or set(joint.faults) - {STEPS_LOST}:
        why = "held" if pressed.count else f"it has {' '.join(joint.faults or ('no link',))}"
        raise Failure(ExitCode.NOT_FINISHED, f"{name} was not turned to the end: {why}")
    if joint.faults:
        return False
    at_deg = joint.position_deg
    if from_deg is None or at_deg is None:
        raise Failure(ExitCode.NOT_FINISHED, f"where {name} is, is not known any more")
    if joint.velocity_deg_s or abs(at_deg - from_deg - by_deg) > joint.microstep_deg:
        raise Failure(
            ExitCode.NOT_FINISHED,
            f"{name} was not turned to the end: it was to be at {from_deg + by_deg:.3f}°, and was "
            f"last heard at {at_deg:.3f}°. Somebody held it, or it came too late; this test moves "
            "nothing more",
        )
    return True
