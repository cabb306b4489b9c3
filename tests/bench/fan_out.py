"""The naive way on real sockets, for comparison: *go now* to each joint over its own stream.

One WebSocket server per joint, in a process of its own, each behind the same impaired link as a
software joint's stream. A joint starts at the instant at which the link lets the message arrive.
All instants are of the machine's raw monotonic clock.
"""

import asyncio
import contextlib
import time
from dataclasses import dataclass
from multiprocessing.connection import Connection
from random import Random

import uvloop
from websockets.asyncio.client import connect
from websockets.asyncio.server import ServerConnection, serve

from simulator.network import PROFILES, Link
from tests.bench.figures import Progress
from tests.bench.on_sockets import run
from tests.bench.software import LOOPBACK, answer, in_child

PAUSE_S = 0.3
"""Between starts, with as much again at random, so that bursts of loss are met by chance."""


@dataclass(frozen=True, slots=True)
class _Naive:
    joints: int
    network: str
    seed: int


def start_skews_us(network: str, joints: int, count: int, seed: int) -> list[float]:
    """True start skews of so many fan-outs."""
    with in_child(_serve, _Naive(joints, network, seed)) as hear:
        return run(_fan_out(answer(hear), network, count, seed))


async def _fan_out(ports: list[int], network: str, count: int, seed: int) -> list[float]:
    random, progress = Random(seed), Progress(f"{network}, go now", count)
    found = []
    async with contextlib.AsyncExitStack() as stack:
        streams = [
            await stack.enter_async_context(connect(f"ws://{LOOPBACK}:{port}", compression=None))
            for port in ports
        ]
        for _ in range(count):
            for stream in streams:
                await stream.send("go now")
            began = [int(await stream.recv()) for stream in streams]
            found.append(float(max(began) - min(began)))
            # Not before the last has begun, so that no start queues behind the one before.
            late_s = max(0, max(began) - _raw_us()) / 1e6
            await asyncio.sleep(late_s + PAUSE_S * (1 + random.random()))
            progress.step()
    return found


def _serve(tell: Connection, naive: _Naive) -> None:
    uvloop.run(_joints(tell, naive))


async def _joints(tell: Connection, naive: _Naive) -> None:
    async with contextlib.AsyncExitStack() as stack:
        ports = []
        for k in range(naive.joints):
            link = Link(PROFILES[naive.network], 100 * naive.seed + k, _raw_us())

            async def joint(connection: ServerConnection, link: Link = link) -> None:
                async for _ in connection:
                    now = _raw_us()
                    await connection.send(str(now + link.stream_delay("forward", now)))

            server = await stack.enter_async_context(serve(joint, LOOPBACK, 0, compression=None))
            ports.append(next(iter(server.sockets)).getsockname()[1])
        tell.send(ports)
        await asyncio.Event().wait()


def _raw_us() -> int:
    return time.clock_gettime_ns(time.CLOCK_MONOTONIC_RAW) // 1000
