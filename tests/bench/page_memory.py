"""The memory of core and feed over much motion, in virtual time and so faster than it would pass.

The real core, its joints and the real feed with one reader are in one process, and its memory is
what counts: there is no database and no HTTP in it, but the software joints are.
"""

import asyncio
import gc
import os
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any, cast

from coordinator.api.control import Control
from coordinator.api.control_routes import ControlDesk
from coordinator.api.live_feed import MOVING_S, LiveFeed
from coordinator.core.preview import Preview, preview
from coordinator.core.run import Phase
from coordinator.core.snapshot.arm import ArmSnapshot, arm_snapshot
from coordinator.service import Service
from protocol.constants import US
from simulator.network import PROFILES
from tests.bench.arms import NEAR_DEG
from tests.bench.outages import FAR_DEG, MOVES
from tests.bench.software import in_child
from tests.bench.virtual_arm import VirtualArm


class VirtualService:
    """What a feed asks of a service, of an arm in virtual time."""

    def __init__(self, arm: VirtualArm) -> None:
        self.arm = arm
        self.control = Control()

    def snapshot(self) -> ArmSnapshot:
        """The arm's state now."""
        return arm_snapshot(self.arm.world.core, self.arm.world.now)

    def preview(self) -> Preview | None:
        """Where the joints are planned to be."""
        return preview(self.arm.world.core.run, self.arm.world.now)


def resident_bytes(joints: int, minutes: tuple[int, ...]) -> list[float]:
    """The memory in use after so many minutes of motion each, in a process of its own."""
    with in_child(_tell_memory, (joints, minutes)) as hear:
        return [hear.recv() for _ in minutes]


def _tell_memory(tell: Connection, asked: tuple[int, tuple[int, ...]]) -> None:
    asyncio.run(_move(tell, *asked))


async def _move(tell: Connection, joints: int, minutes: tuple[int, ...]) -> None:
    arm = VirtualArm("quiet", PROFILES["quiet"], joints, 1)
    # It stands in for the two, of which a feed asks no more than this.
    service: Any = VirtualService(arm)
    feed = LiveFeed(cast(Service, service), cast(ControlDesk, service))
    reader = feed.join()
    arm.home()
    moved_us = 0
    for minute in minutes:
        while moved_us < 60 * US * minute:
            if arm.world.core.run is None or arm.run.phase is Phase.ENDED:
                arm.begin(lambda _: [NEAR_DEG, NEAR_DEG + FAR_DEG] * (MOVES // 2))
            arm.world.run_for(round(MOVING_S * US))
            moved_us += round(MOVING_S * US)
            await feed.tick()
            await reader.take()
            arm.happened()
            if arm.run.phase is Phase.HELD:
                arm.go_on()
        gc.collect()
        tell.send(_resident_bytes())


def _resident_bytes() -> int:
    # proc(5): the second figure is the resident set, in pages.
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE")
