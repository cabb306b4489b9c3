"""One software joint in this process, whole or with one fault, and checks against it."""

import contextlib
import secrets
from collections.abc import AsyncIterator, Sequence
from dataclasses import replace
from pathlib import Path

from coordinator.config.arm import Arm, load_arm
from coordinator.conform.bench import Target
from coordinator.conform.check import Check, Result
from coordinator.conform.checks import CHECKS
from coordinator.conform.heard import Heard, listen
from coordinator.conform.run import run_checks
from coordinator.conform.stream import Place
from coordinator.core.configure import arm_ramp, configuration_of
from coordinator.rehearsal.software_joints import joint_settings
from protocol.constants import STREAM_PATH
from simulator.joint.images import ImageStore
from simulator.network import PROFILES, Link
from simulator.port import JointPort, world_us
from simulator.server import joints_served
from simulator.unit import JointUnit
from tests.own import SERVICE_TYPE
from tests.quick_arm import arm_text
from tests.simulator.joint.signing import PUBLIC

HOST = "127.0.0.1"
KEY = bytes(range(32))


def quick_arm(folder: Path) -> Arm:
    """An arm of one joint, quickly homed."""
    file = folder / "arm.toml"
    file.write_text(arm_text(1, touch=False))
    return load_arm(file)


@contextlib.asynccontextmanager
async def target(
    folder: Path, *, may_move: bool = True, announce: bool = False, takes_images: bool = True
) -> AsyncIterator[tuple[Target, JointPort]]:
    """A joint that answers, ready to be checked. Unless `announce`, it announces nothing."""
    update_key = PUBLIC if takes_images else None
    arm = quick_arm(folder)
    (settings,) = joint_settings(arm, 1)
    (joint,) = arm.joints
    # Two degrees before its sensor, so that it is homed at once.
    begin = settings.home_centre + 2 * settings.home_half_width
    settings = replace(
        settings, inputs=2, outputs=2, point_capacity=64, start_low=begin, start_high=begin
    )
    heard: Heard | None = None
    async with contextlib.AsyncExitStack() as stack:
        if announce:
            (port,) = await stack.enter_async_context(
                joints_served(
                    [settings],
                    KEY,
                    interface=HOST,
                    profile=PROFILES["none"],
                    seed=1,
                    service_type=SERVICE_TYPE,
                    update_key=update_key,
                )
            )
            heard = await listen(HOST, SERVICE_TYPE, joint.id)
        else:
            images = None if update_key is None else ImageStore(update_key)
            boot = secrets.randbits(32) or 1
            unit = JointUnit(settings, KEY, world_us(), boot=boot, images=images)
            port = JointPort(unit, Link(PROFILES["none"], 1), lambda _name, _truth: None)
            await port.open(HOST)
            stack.push_async_callback(port.close)
        place = Place(HOST, port.stream_port, STREAM_PATH, joint.id, KEY)
        configuration = configuration_of(joint, arm_ramp(arm))
        yield Target(place, configuration, heard, HOST, SERVICE_TYPE, may_move), port


def chosen(*names: str) -> list[Check]:
    """Checks whose id, section or a word at an id's beginning is named."""
    return [one for one in CHECKS if any(one.id.startswith(name) for name in names)]


async def made(target: Target, checks: Sequence[Check]) -> dict[str, Result]:
    """What came of checks, by id."""
    return {one.id: one for one in await run_checks(target, checks, lambda _: None)}
