"""The API's server on a free port of loopback, in the loop of the test."""

import asyncio
import contextlib
from collections.abc import AsyncIterator, Iterator
from typing import Any

import uvicorn

from coordinator.api.connection import BoundedHttp
from coordinator.api.websocket import BoundedWebSocket


class Server(uvicorn.Server):
    """A server that leaves signals to the tests, and tells its port."""

    @contextlib.contextmanager
    def capture_signals(self) -> Iterator[None]:
        """Capture none."""
        yield

    @property
    def port(self) -> int:
        """Where it listens."""
        port: int = self.servers[0].sockets[0].getsockname()[1]
        return port


@contextlib.asynccontextmanager
async def serving(app: Any, **more: Any) -> AsyncIterator[Server]:
    """Serve an app until left, with the connections of the product."""
    settings: dict[str, Any] = {
        "http": BoundedHttp,
        "ws": BoundedWebSocket,
        "ws_max_size": 1024,
        "ws_per_message_deflate": False,
        "lifespan": "off",
        "log_config": None,
        "access_log": False,
        "timeout_graceful_shutdown": 1,
    }
    server = Server(uvicorn.Config(app, port=0, **{**settings, **more}))
    task = asyncio.create_task(server.serve())
    while not server.started:
        await asyncio.sleep(0)
    try:
        yield server
    finally:
        server.should_exit = True
        await task
