"""How requests travel: in an event loop, or in the thread that asks."""

import asyncio
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final, Protocol

import httpx2

from coordinator.client.errors import OtherLoop
from coordinator.client.place import Place

_TEXT: Final = {"Content-Type": "text/plain; charset=utf-8"}
_FILE: Final = {"Content-Type": "application/octet-stream"}

LINES: Final = "application/x-ndjson"
_LINES: Final = {"Accept": f"{LINES}, application/json"}
Hear = Callable[[bytes], None]


@dataclass(frozen=True, slots=True)
class File:
    """A body that is no text."""

    data: bytes


def _as_it_is(body: bytes | File) -> tuple[bytes, dict[str, str]]:
    """A body that is no JSON, and the header that says what it is."""
    return (body.data, _FILE) if isinstance(body, File) else (body, _TEXT)


class _Lines:
    """An answer as it comes: lines that are heard one by one, or else the whole of it."""

    def __init__(self, response: httpx2.Response, hear: Hear) -> None:
        self._whole, self._hear = response, hear
        self._in_lines = response.headers.get("Content-Type", "").startswith(LINES)
        self._chunks: list[bytes] = []

    def take(self, chunk: bytes) -> None:
        """What has come."""
        self._chunks.append(chunk)
        if self._in_lines and b"\n" in chunk:
            *lines, rest = b"".join(self._chunks).split(b"\n")
            self._chunks = [rest]
            for line in lines:
                self._hear(line)

    @property
    def response(self) -> httpx2.Response:
        """All but what was heard."""
        kind = {"Content-Type": self._whole.headers.get("Content-Type", "")}
        content = b"".join(self._chunks)
        return httpx2.Response(self._whole.status_code, headers=kind, content=content)


class Transport(Protocol):
    """What a client does to the world: ask, and wait."""

    async def request(
        self, method: str, path: str, body: object, patience_s: float
    ) -> httpx2.Response:
        """Ask below the API's prefix, with JSON unless the body is None, bytes of text or a File.
        Raises httpx2's errors, and OtherLoop.
        """

    async def stream(
        self, method: str, path: str, body: object, patience_s: float, hear: Hear
    ) -> httpx2.Response:
        """The same, for who is told how far it is: where the answer comes in lines, each is heard
        as it comes, and none of them is in the response. `patience_s` is for silence.
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
        if isinstance(body, bytes | File):
            content, headers = _as_it_is(body)
            return await self._http.request(
                method, path, content=content, headers=headers, timeout=patience_s
            )
        return await self._http.request(method, path, json=body, timeout=patience_s)

    async def stream(
        self, method: str, path: str, body: object, patience_s: float, hear: Hear
    ) -> httpx2.Response:
        """Ask, and hear; left, the connection is closed."""
        self._require_its_loop()
        async with self._http.stream(
            method, path, json=body, headers=_LINES, timeout=patience_s
        ) as response:
            lines = _Lines(response, hear)
            async for chunk in response.aiter_bytes():
                lines.take(chunk)
        return lines.response

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
        if isinstance(body, bytes | File):
            content, headers = _as_it_is(body)
            return self._http.request(
                method, path, content=content, headers=headers, timeout=patience_s
            )
        return self._http.request(method, path, json=body, timeout=patience_s)

    async def stream(
        self, method: str, path: str, body: object, patience_s: float, hear: Hear
    ) -> httpx2.Response:
        """Ask, and hear; left, as by Ctrl-C, the connection is closed."""
        with self._http.stream(
            method, path, json=body, headers=_LINES, timeout=patience_s
        ) as response:
            lines = _Lines(response, hear)
            for chunk in response.iter_bytes():
                lines.take(chunk)
        return lines.response

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
