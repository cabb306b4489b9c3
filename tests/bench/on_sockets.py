"""Starts on real sockets: the service in this process, the software joints in another."""

import asyncio
import contextlib
import gc
import time
from collections.abc import AsyncIterator, Callable, Coroutine
from typing import Any, TypeVar

import uvloop

from coordinator.core.events import Home, Refused, Resume
from coordinator.playing.runs import Wanted
from coordinator.service import Service, running
from tests.bench.arms import step_program
from tests.bench.figures import Progress
from tests.bench.software import LOOPBACK, Bench, software_joints
from tests.bench.starts import Starts

T = TypeVar("T")

PATIENCE_S = 120.0
POLL_S = 0.02
REACTION_S = 1.0
"""Between a hold, or a refusal, and the operator's next try."""


def starts(network: str, joints: int, count: int, seed: int) -> Starts:
    """So many true starts, one after another, over one kind of network."""
    with software_joints(joints, network, seed) as bench:
        return run(_starts(bench, network, count, seed))


def run(work: Coroutine[Any, Any, T]) -> T:
    """Run on an event loop like the coordinator's own."""
    with asyncio.Runner(loop_factory=uvloop.new_event_loop) as runner:
        return runner.run(work)


@contextlib.asynccontextmanager
async def homed(bench: Bench) -> AsyncIterator[Service]:
    """A service whose joints are all found, linked and homed."""
    async with running(bench.arm, bench.data, LOOPBACK) as service:
        # As the command does: a full collection pauses everything for tens of ms.
        gc.collect()
        gc.freeze()
        try:
            await until(lambda: _all_heard(service), "all joints linked and heard")
            while not await _home(service):
                await asyncio.sleep(REACTION_S)
            yield service
        finally:
            gc.unfreeze()


async def until(look: Callable[[], bool], what: str, limit_s: float = PATIENCE_S) -> None:
    """Wait for a condition. Raises TimeoutError, naming it, when it does not come true."""
    end = time.monotonic() + limit_s
    while not look():
        if time.monotonic() > end:
            raise TimeoutError(f"{what}: not within {limit_s:g} s")
        await asyncio.sleep(POLL_S)


async def play(service: Service, name: str, text: str) -> int:
    """Play, trying again while the arm refuses, as after an outage. Raises Refused in the end."""
    end = time.monotonic() + PATIENCE_S
    while True:
        try:
            return await service.runs.play(Wanted(name, text))
        except Refused:
            if time.monotonic() > end:
                raise
            await asyncio.sleep(REACTION_S)


async def _starts(bench: Bench, network: str, count: int, seed: int) -> Starts:
    found, progress = Starts(), Progress(f"{network}, real sockets", count)
    async with homed(bench) as service:
        bench.began()
        for k in range(count):
            at_deg = service.snapshot().joints[0].position_deg
            assert at_deg is not None
            number = await play(service, "step", step_program(bench.arm, at_deg))
            began_us = service.snapshot().now_us
            await _to_its_end(service, number)
            report = await service.runs.report(number)
            assert report is not None
            refused = sum(
                note.code == "start-refused" and note.at_us >= began_us
                for note in service.snapshot().notes
            )
            found.take(report, refused, bench.began(), f"{network}, seed {seed}, start {k + 1}")
            progress.step()
    return found


async def _to_its_end(service: Service, number: int) -> None:
    """Wait for a run's end, resuming what is held."""

    def phase() -> str:
        return str(service.phase)

    while True:
        await until(lambda: phase() in ("idle", "held"), f"run {number} held or ended")
        if phase() == "idle":
            return
        await asyncio.sleep(REACTION_S)
        # It may have ended meanwhile, or a joint may not be back yet.
        with contextlib.suppress(Refused):
            service.command(Resume())


async def _home(service: Service) -> bool:
    """Home all joints; False if one of them could not."""
    try:
        service.command(Home())
    except Refused:
        return False

    def state() -> str:
        homing = service.snapshot().homing
        assert homing is not None
        return homing.state.value

    await until(lambda: state() != "running", "homing")
    return state() == "done"


def _all_heard(service: Service) -> bool:
    return all(
        joint.link == "up" and joint.state and joint.measured and joint.clock.locked
        for joint in service.snapshot().joints
    )
