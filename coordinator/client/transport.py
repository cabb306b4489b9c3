"""How requests travel: in an event loop, or in the thread that asks."""

import asyncio
import time
from typing import Final, Protocol

import httpx2

from coordinator.client.errors import OtherLoop
from coordinator.client.place import Place

_TEXT: Final = {"Content-Type": "text/plain; charset=utf-8"}


class Transport(Protocol):
    """What a client does to the world: ask, and wait."""

    async def request(
        self, method: str, path: str, body: object, patience_s: float
    ) -> httpx2.Response:
        """Ask below the API's prefix, with JSON unless the body is None or bytes of text. Raises
        httpx2's errors, and OtherLoop.
        """

    async def sleep(self, seconds: float) -> None:
        """Let time pass."""

    async def close(self) -> None:
        """Close the connections."""

    @property
    def closed(self) -> bool:
        """Whether they were closed: then a request raises RuntimeError."""


class LoopTransport:
    """In one event loop, that of the first request: its connections end with it."""

    def __init__(self, place: Place) -> None:
        # No proxy from the environment: the coordinator is on this host or its own network.
        self._http = httpx2.AsyncClient(
            base_url=place.api, trust_env=False, headers=place.headers, verify=place.verify
        )
        self._url = place.url
        self._loop: asyncio.AbstractEventLoop | None = None

    async def request(
        self, method: str, path: str, body: object, patience_s: float
    ) -> httpx2.Response:
        """Ask."""
        self._require_its_loop()
        if isinstance(body, bytes):
            return await self._http.request(
                method, path, content=body, headers=_TEXT, timeout=patience_s
            )
        return await self._http.request(method, path, json=body, timeout=patience_s)

    async def sleep(self, seconds: float) -> None:
        """Let others go on."""
        await asyncio.sleep(seconds)

    async def close(self) -> None:
        """Close the connections."""
        self._require_its_loop()
        await self._http.aclose()

    @property
    def closed(self) -> bool:
        """Whether they were closed."""
        return self._http.is_closed

    def _require_its_loop(self) -> None:
        running = asyncio.get_running_loop()
        self._loop = self._loop or running
        if self._loop is not running and not self.closed:
            raise OtherLoop(
                f"the client of {self._url} was used in another event loop before: nothing was "
                "asked; make one client for each event loop"
            )


class ThreadTransport:
    """In the thread that asks, which waits: its coroutines never wait for a loop."""

    def __init__(self, place: Place) -> None:
        self._http = httpx2.Client(
            base_url=place.api, trust_env=False, headers=place.headers, verify=place.verify
        )

    async def request(
        self, method: str, path: str, body: object, patience_s: float
    ) -> httpx2.Response:
        """Ask, and wait for the answer."""
        if isinstance(body, bytes):
            return self._http.request(method, path, content=body, headers=_TEXT, timeout=patience_s)
        return self._http.request(method, path, json=body, timeout=patience_s)

    async def sleep(self, seconds: float) -> None:
        """Wait."""
        time.sleep(seconds)

    async def close(self) -> None:
        """Close the connections."""
        self._http.close()

    @property
    def closed(self) -> bool:
        """Whether they were closed."""
        return self._http.is_closed
