"""The memory of core and feed over much motion, in virtual time and so faster than it would pass.

The real core, its joints and the real feed with one reader are in one process, and its memory is
what counts: there is no database and no HTTP in it, but the software joints are.
"""

import asyncio
import gc
import os
from multiprocessing.connection import Connection
from pathlib import Path

from coordinator.api.control import Control
from coordinator.api.live_feed import MOVING_S, LiveFeed, Seen
from coordinator.core.preview import preview
from coordinator.core.run import Phase
from coordinator.core.snapshot.arm import arm_snapshot
from coordinator.playing import queue
from protocol.constants import US
from simulator.network import PROFILES
from tests.bench.arms import NEAR_DEG
from tests.bench.outages import FAR_DEG, MOVES
from tests.bench.software import in_child
from tests.bench.virtual_arm import VirtualArm


def resident_bytes(joints: int, minutes: tuple[int, ...]) -> list[float]:
    """The memory in use after so many minutes of motion each, in a process of its own."""
    with in_child(_tell_memory, (joints, minutes)) as hear:
        return [hear.recv() for _ in minutes]


def _tell_memory(tell: Connection, asked: tuple[int, tuple[int, ...]]) -> None:
    asyncio.run(_move(tell, *asked))


async def _move(tell: Connection, joints: int, minutes: tuple[int, ...]) -> None:
    arm = VirtualArm("quiet", PROFILES["quiet"], joints, 1)
    control = Control()

    def look() -> Seen:
        seen = arm_snapshot(arm.world.core, arm.world.now)
        return Seen(seen, control.state(arm.world.now, moving=seen.busy), 0, queue.NOTHING)

    feed = LiveFeed(look, lambda: preview(arm.world.core.run, arm.world.now), asyncio.Event())
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
