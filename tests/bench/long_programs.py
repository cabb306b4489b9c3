"""Long programs on real sockets: how soon they move, their memory, and how late the loop is.

As the API does: a text is taken as bytes, checked, and played from where the check began. Memory is
resident size, of this process, in which the coordinator runs, and of those that plan.
"""

import asyncio
import contextlib
import math
import os
import time
from collections.abc import AsyncIterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import orjson

from coordinator.api.bodies import LongBody
from coordinator.api.long_text import LongText
from coordinator.core.events import Stop
from coordinator.core.run import Phase
from coordinator.playing.runs import Wanted
from coordinator.service import Service
from protocol.drive import StopLevel
from tests.bench.figures import show
from tests.bench.on_sockets import POLL_S, homed, run, until
from tests.bench.software import Bench, software_joints
from tests.e2e.harness import children

LOOK_S = 0.005
"""Between looks at how late the loop is."""
PLAYED_S = 20.0
"""Of a run that is watched."""
PATIENCE_S = 7_200.0
MOVES = (Phase.MOVING, Phase.ENDED)


@dataclass(slots=True)
class Watch:
    """What is seen while something goes on."""

    lag_s: float = 0.0
    """The worst."""
    own_mb: float = 0.0
    planner_mb: float = 0.0


@dataclass(frozen=True, slots=True)
class Found:
    """One program."""

    lines: int
    mb: float
    check_s: float
    to_motion_s: float
    """From the play to motion that all joints have confirmed."""
    before: Watch
    """Taking and checking the text while the arm rests."""
    during: Watch
    """From the play until PLAYED_S later."""
    holds: int


def dense(lines: int, letters: Sequence[str]) -> str:
    """A smooth curve in short lines, some twenty to a second of motion."""
    text = ["G64 P1", "F1200 G1" + "".join(f" {letter}-150" for letter in letters)]
    for k in range(lines - 3):
        turns = (
            f"{letter}{-140 + 9 * math.sin(0.02 * k / (place + 2)):.3f}"
            for place, letter in enumerate(letters)
        )
        text.append(" ".join(turns))
    return "\n".join([*text, "M2"])


def table(sizes: Sequence[int], joints: int, seed: int) -> None:
    """A row for each number of lines."""
    rows = []
    for lines in sizes:
        with software_joints(joints, "quiet", seed) as bench:
            found = run(_one(bench, lines))
        rows.append(
            (
                found.lines,
                f"{found.mb:.1f}",
                f"{found.check_s:.1f}",
                f"{found.to_motion_s:.2f}",
                *(
                    f"{value:.0f}"
                    for seen in (found.before, found.during)
                    for value in (1e3 * seen.lag_s, seen.own_mb, seen.planner_mb)
                ),
                found.holds,
            )
        )
    show(
        f"Long programs in G64, {joints} joints on real sockets",
        (
            "lines", "MB", "check s", "play to motion s", "checking: loop's lag max ms",
            "coordinator MB", "planner MB", "playing: loop's lag max ms", "coordinator MB",
            "planner MB", "holds",
        ),
        rows,
        f"The loop's lag is what a look every {1e3 * LOOK_S:g} ms comes late. Memory is the most "
        "resident; the coordinator's is that of the bench with it.",
    )  # fmt: skip


async def _one(bench: Bench, lines: int) -> Found:
    body = dense(lines, bench.arm.words).encode()
    async with homed(bench) as service:
        long, others = LongText(), set(children(os.getpid()))
        async with _watched(others) as before:
            begun = time.monotonic()
            text = long.of(LongBody(sent=await long.take(body)), "long")
            checked = orjson.loads(await service.runs.check(text))
            assert checked["ok"], checked["errors"][:3]
            del checked
            check_s = time.monotonic() - begun
        async with _watched(others) as during:
            begun = time.monotonic()
            number = await service.runs.play(Wanted("long", text))
            await until(lambda: _phase(service) in MOVES, "motion", PATIENCE_S)
            to_motion_s = time.monotonic() - begun
            await asyncio.sleep(PLAYED_S)
        report = await service.runs.report(number)
        assert report is not None
        service.command(Stop(StopLevel.STOP))
        await until(lambda: service.phase == "idle", "rest")
    return Found(lines, len(body) / 1e6, check_s, to_motion_s, before, during, len(report["holds"]))


def _phase(service: Service) -> Phase:
    run = service.snapshot().run
    return run.phase if run is not None else Phase.ENDED


@contextlib.asynccontextmanager
async def _watched(others: set[int]) -> AsyncIterator[Watch]:
    seen = Watch()
    task = asyncio.create_task(_watch(seen, others))
    try:
        yield seen
    finally:
        task.cancel()


async def _watch(seen: Watch, others: set[int]) -> None:
    """`others` are processes that plan nothing."""
    looked_s = 0.0
    while True:
        begun = time.monotonic()
        await asyncio.sleep(LOOK_S)
        now = time.monotonic()
        seen.lag_s = max(seen.lag_s, now - begun - LOOK_S)
        if now - looked_s > 10 * POLL_S:
            looked_s = now
            seen.own_mb = max(seen.own_mb, _resident_mb(os.getpid()))
            planners = set(children(os.getpid())) - others
            seen.planner_mb = max(seen.planner_mb, *map(_resident_mb, planners), 0.0)


def _resident_mb(pid: int) -> float:
    with contextlib.suppress(OSError, IndexError):
        pages = int(Path(f"/proc/{pid}/statm").read_text().split()[1])
        return pages * os.sysconf("SC_PAGE_SIZE") / 1e6
    return 0.0
