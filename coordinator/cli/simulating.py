"""The command `simulate` while it runs: software joints on real sockets."""

import asyncio
import contextlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from math import inf
from pathlib import Path
from typing import Final, Literal, TypeVar

from coordinator.cli.common import ExitCode, Failure, named_joint
from coordinator.cli.host import asked_to_end, run_alone
from coordinator.config.arm import Arm
from coordinator.config.data_folder import KEY_FILE, read_key
from coordinator.config.settings import service_type
from coordinator.config.update_key import public_update_key
from simulator.network import PROFILES
from simulator.port import JointPort
from simulator.programs import JointProgram, ProgramError, joint_program, programs_served
from simulator.server import joints_served
from simulator.settings import JointSettings


@dataclass(frozen=True, slots=True)
class SimulateSettings:
    """What `simulate` needs to know."""

    joints: tuple[JointSettings, ...]
    data: Path
    interface: str
    network: str
    seed: int
    truth: Path | None
    service_type: str = field(default_factory=service_type)
    in_c: tuple[JointSettings, ...] = ()
    """Joints that are programs in C, beside the others."""


Kind = Literal["python", "c", "mixed"]
Ready = Callable[[list[JointPort], list[JointProgram]], None]
T = TypeVar("T")
_NO_NETWORK: Final = "none"


def shared_out(joints: Sequence[T], kind: Kind) -> tuple[tuple[T, ...], tuple[T, ...]]:
    """Of an arm's joints, base to tool, those in Python and those in C; mixed: turn and turn about.

    Raises Failure where there is no program for those in C.
    """
    if kind != "python":
        try:
            joint_program()
        except ProgramError as error:
            raise Failure(ExitCode.WRONG_INPUT, str(error)) from error
    if kind == "mixed":
        return tuple(joints[::2]), tuple(joints[1::2])
    return ((), tuple(joints)) if kind == "c" else (tuple(joints), ())


def slipping(
    joints: Sequence[JointSettings], arm: Arm, asked: Sequence[str]
) -> tuple[JointSettings, ...]:
    """Joints in Python, those that are named as JOINT=DEG_S such that they lose steps above that.

    Raises Failure for what is not so written, or names no joint of these.
    """
    above: dict[str, float] = {}
    for words in asked:
        name, _, speed = words.partition("=")
        joint = named_joint(arm, name)
        try:
            deg_s = float(speed)
        except ValueError:
            deg_s = 0.0
        if not 0.0 < deg_s < inf:
            raise Failure(
                ExitCode.WRONG_INPUT,
                f"--slips is {words!r}, but must be JOINT=DEG_S with a speed above 0, as elbow=70",
            )
        if joint.id not in {one.id for one in joints}:
            raise Failure(ExitCode.WRONG_INPUT, f"--slips: {name} is no joint in Python here")
        above[joint.id] = deg_s * abs(joint.counts_per_degree)
    return tuple(replace(one, slips_above=above.get(one.id, 0.0)) for one in joints)


def network_for(kind: Kind, asked: str | None, usual: str) -> str:
    """The network's name. Raises Failure for joints in C alone behind one: they simulate none."""
    if kind != "c":
        return usual if asked is None else asked
    if asked not in (None, _NO_NETWORK):
        raise Failure(
            ExitCode.WRONG_INPUT, f"--network is {asked!r}, but joints in C simulate no network"
        )
    return _NO_NETWORK


def simulate(settings: SimulateSettings, ready: Ready) -> ExitCode:
    """Serve software joints until asked to end. Raises Failure when one in C ends before."""
    return run_alone(_simulate(settings, ready))


async def _simulate(settings: SimulateSettings, ready: Ready) -> ExitCode:
    ended = asked_to_end()
    key, update_key = read_key(settings.data), public_update_key(settings.data)
    async with contextlib.AsyncExitStack() as stack:
        try:
            programs = await stack.enter_async_context(
                programs_served(
                    settings.in_c,
                    settings.data / KEY_FILE,
                    interface=settings.interface,
                    truth=settings.truth,
                    service_type=settings.service_type,
                    update_key=update_key,
                )
            )
        except ProgramError as error:
            raise Failure(ExitCode.NOT_FINISHED, str(error)) from error
        ports = []
        if settings.joints:
            ports = await stack.enter_async_context(
                joints_served(
                    settings.joints,
                    key,
                    interface=settings.interface,
                    profile=PROFILES[settings.network],
                    seed=settings.seed,
                    truth=settings.truth,
                    service_type=settings.service_type,
                    update_key=update_key,
                )
            )
        ready(ports, programs)
        await _end_of(ended, programs)
    return ExitCode.DONE


async def _end_of(ended: asyncio.Event, programs: Sequence[JointProgram]) -> None:
    """Wait until asked to end. Raises Failure when a joint in C does so unasked."""
    asked = asyncio.create_task(ended.wait())
    failed = [asyncio.create_task(program.ended()) for program in programs]
    try:
        done, _ = await asyncio.wait([asked, *failed], return_when=asyncio.FIRST_COMPLETED)
        for one in failed:
            if asked not in done and one in done:
                raise Failure(ExitCode.NOT_FINISHED, str(one.result()))
    finally:
        for task in (asked, *failed):
            task.cancel()
