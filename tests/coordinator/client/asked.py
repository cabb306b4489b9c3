"""Both clients asked the same, of a stand-in for a coordinator."""

import asyncio
import json
from collections.abc import Callable, Mapping
from typing import Any

from coordinator.client import AsyncClient, Client
from tests.coordinator.cli.servers import Answer

Ask = Callable[[str, str], Any]
"""What a method of a client gives for these arguments, at an address."""
PREFIX = "/api/v1"


def blocking(url: str, method: str, *arguments: Any, closed: bool = False, **named: Any) -> Any:
    """By the client that waits; or by one that was closed before."""
    with Client(url) as client:
        if closed:
            client.close()
        return getattr(client, method)(*arguments, **named)


def in_a_loop(url: str, method: str, *arguments: Any, closed: bool = False, **named: Any) -> Any:
    """By the one that has an event loop."""

    async def ask() -> Any:
        async with AsyncClient(url) as client:
            if closed:
                await client.close()
            return await getattr(client, method)(*arguments, **named)

    return asyncio.run(ask())


def told(value: object, status: int = 200) -> Answer:
    """An answer in JSON."""
    return status, {"Content-Type": "application/json"}, json.dumps(value).encode()


def _said(body: bytes) -> Any:
    """What a body says in JSON, else as it came."""
    try:
        return json.loads(body)
    except ValueError:
        return body


class Coordinator:
    """Answers each path with its values one after another, the last for ever; keeps what came."""

    def __init__(self, answers: Mapping[str, list[Any]]) -> None:
        self.asked: list[tuple[str, Any]] = []
        self._answers = {path: list(values) for path, values in answers.items()}

    def __call__(self, path: str, body: bytes) -> Answer:
        path = path.removeprefix(PREFIX)
        said = body.decode() if path == "/texts" else _said(body) if body else None
        self.asked.append((path, said))
        values = self._answers.get(path) or self._answers[path.partition("?")[0]]
        value = values.pop(0) if len(values) > 1 else values[0]
        return value if isinstance(value, tuple) else told(value)

    @property
    def paths(self) -> list[str]:
        """What was asked for, in order."""
        return [path for path, _ in self.asked]
