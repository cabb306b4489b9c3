"""The API's server on a free port of loopback, in the loop of the test."""

import asyncio
import contextlib
from collections.abc import AsyncIterator, Iterator
from typing import Any

import uvicorn

from coordinator.api.server import server_config


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
async def serving(app: Any, **changed: Any) -> AsyncIterator[Server]:
    """Serve an app as the product does until left, but for what is `changed` in the settings."""
    config = server_config(app)
    for name, value in {"port": 0, **changed}.items():
        setattr(config, name, value)
    server = Server(config)
    task = asyncio.create_task(server.serve())
    while not server.started:
        await asyncio.sleep(0)
    try:
        yield server
    finally:
        server.should_exit = True
        await task
