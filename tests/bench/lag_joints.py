"""Software joints in a process of their own, seen from within: when each truly began to move and
stood still again. Their own controls are turned there too.

What the truth log has of a jog is its rest alone, so a joint's free motion is looked at where it is
laid out: its first instant is when the joint begins to accelerate, its last when it stands. Both
are exact, however seldom anybody looks; only motions less than a look apart count as one.
"""

import asyncio
import contextlib
import math
from collections.abc import Iterator
from dataclasses import dataclass, field
from multiprocessing.connection import Connection
from typing import Final

from coordinator.cli.simulating import SimulateSettings, simulate
from coordinator.config.arm import load_arm
from coordinator.rehearsal.software_joints import joint_settings
from coordinator.testing.live_arm import run_before_others
from simulator.joint.motion import FreeMotion
from simulator.port import JointPort, world_us
from simulator.unit import JointUnit
from tests.bench.software import LOOPBACK, answer, in_child
from tests.e2e.harness import Bench

LOOK_S: Final = 0.002
Motion = tuple[float, float]
"""From rest to rest: when it began and ended, µs of the raw monotonic clock."""


@dataclass(slots=True)
class Joints:
    """The joints of an arm, for who measures."""

    _pipe: Connection

    def motions(self, joint: str) -> list[Motion]:
        """Whole motions of a joint since it was asked last, oldest first; none while it moves."""
        self._pipe.send((joint, None))
        found: list[Motion] = answer(self._pipe)
        return found

    def turn(self, joint: str, detents: int) -> float:
        """Turn a joint's own control; when that was, by the raw clock in µs."""
        self._pipe.send((joint, detents))
        at_us: float = answer(self._pipe)
        return at_us


@contextlib.contextmanager
def watched_joints(arm: Bench, network: str, seed: int) -> Iterator[Joints]:
    """Serve an arm's joints on loopback until left."""
    settings = SimulateSettings(
        tuple(joint_settings(load_arm(arm.arm), seed)),
        arm.data,
        LOOPBACK,
        network,
        seed,
        arm.truth,
    )
    with in_child(_serve, settings) as pipe:
        answer(pipe)
        yield Joints(pipe)


@dataclass(slots=True)
class Eye:
    """Looks at one joint again and again."""

    unit: JointUnit
    found: list[Motion] = field(default_factory=list)
    """Whole motions."""
    _seen: FreeMotion | None = None
    _begin_us: float = math.nan
    _end_us: float = -math.inf
    """Infinite while it moves and nothing says where it will stand."""

    def look(self, now: float) -> None:
        """Look at a true time."""
        motion = self.unit.joint.motion
        if motion is not None and motion is not self._seen and motion.segments:
            if math.isnan(self._begin_us):
                self._begin_us = self._true_us(motion.segments[0].start_us)
            self._end_us = self._true_us(motion.end_us)
        self._seen = motion
        if self._end_us <= now and not math.isnan(self._begin_us):
            self.found.append((self._begin_us, self._end_us))
            self._begin_us = math.nan

    def _true_us(self, joint_us: float) -> float:
        return math.inf if math.isinf(joint_us) else self.unit.oscillator.true_us(joint_us)


def _serve(pipe: Connection, settings: SimulateSettings) -> None:
    run_before_others()
    simulate(settings, lambda ports, _programs: _ready(pipe, ports))


def _ready(pipe: Connection, ports: list[JointPort]) -> None:
    eyes = {port.unit.settings.name: Eye(port.unit) for port in ports}
    loop = asyncio.get_running_loop()
    looking = loop.create_task(_look(list(eyes.values())))
    loop.add_reader(pipe.fileno(), _obey, pipe, eyes, looking)
    pipe.send("ready")


async def _look(eyes: list[Eye]) -> None:
    while True:
        now = world_us()
        for eye in eyes:
            eye.look(now)
        await asyncio.sleep(LOOK_S)


def _obey(pipe: Connection, eyes: dict[str, Eye], looking: asyncio.Task[None]) -> None:
    joint, detents = pipe.recv()
    if looking.done():
        looking.result()  # it failed: nothing is answered any more, which is noticed
    eye = eyes[joint]
    if detents is None:
        found, eye.found = eye.found, []
        pipe.send(found)
        return
    pipe.send(world_us())
    eye.unit.joint.touch_turn += detents
