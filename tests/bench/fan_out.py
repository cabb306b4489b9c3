"""The naive way, for comparison: *go now* to each joint over its own stream.

Six WebSocket servers, each behind the same impaired link as a software joint's stream. A joint
starts when the message reaches it. Their clock is the machine's raw monotonic one.
"""

import asyncio
import contextlib
import json
import time

from websockets.asyncio.client import connect
from websockets.asyncio.server import ServerConnection, serve

from simulator.network import PROFILES, Link

JOINTS = 6
PAUSE_S = 0.2
"""Between starts, so that one does not queue behind the one before."""


def _raw_us() -> int:
    return time.clock_gettime_ns(time.CLOCK_MONOTONIC_RAW) // 1000


async def spreads_us(network: str, count: int, seed: int) -> list[float]:
    """True spreads of so many fan-outs."""
    async with contextlib.AsyncExitStack() as stack:
        streams = []
        for k in range(JOINTS):
            link = Link(PROFILES[network], seed * 100 + k, _raw_us())

            async def joint(connection: ServerConnection, link: Link = link) -> None:
                async for _ in connection:
                    await asyncio.sleep(link.stream_delay("forward", _raw_us()) / 1e6)
                    await connection.send(json.dumps(_raw_us()))

            server = await stack.enter_async_context(serve(joint, "127.0.0.1", 0))
            port = next(iter(server.sockets)).getsockname()[1]
            streams.append(await stack.enter_async_context(connect(f"ws://127.0.0.1:{port}")))
        found = []
        for _ in range(count):
            for stream in streams:
                await stream.send("go now")
            starts = [json.loads(await stream.recv()) for stream in streams]
            found.append(float(max(starts) - min(starts)))
            await asyncio.sleep(PAUSE_S)
        return found
