"""A client for scripts that have an event loop."""

import asyncio
import contextlib
from collections.abc import AsyncIterator, Mapping
from pathlib import Path
from types import TracebackType
from typing import Self

from coordinator.client.asking import Asking
from coordinator.client.errors import ClientError
from coordinator.client.place import Place
from coordinator.client.questions import Questions
from coordinator.client.renewal import RENEW_S, Renewal
from coordinator.client.transport import LoopTransport
from coordinator.config.settings import DEFAULT_URL


class AsyncClient(Questions):
    """A connection to a coordinator, in the event loop of asyncio; every method raises ClientError.

    Where the coordinator is not on loopback it takes a token, and its own certificate as a file:
    that one is trusted, and no other.
    """

    def __init__(
        self, url: str = DEFAULT_URL, token: str = "", certificate: Path | None = None
    ) -> None:
        place = Place.at(url, token, certificate)
        super().__init__(Asking(place.url, LoopTransport(place)))

    async def __aenter__(self) -> Self:
        """Use as a context that closes the connection."""
        return self

    async def __aexit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Close the connection."""
        await self.close()

    @contextlib.asynccontextmanager
    async def jog(self, velocities_deg_s: Mapping[str, float]) -> AsyncIterator[None]:
        """Turn these joints, and no others, until left: at once let go then, however it is left.

        Where the jog cannot be said again in time, or is refused, what is inside is cancelled and
        the error raised; the joints come to rest by themselves within 0.3 s. So it does where the
        event loop stands still.
        """
        renewal, saying = Renewal(self._asking, velocities_deg_s), asyncio.Lock()

        async def renew() -> None:
            while True:
                await asyncio.sleep(RENEW_S)
                async with saying:
                    await renewal.again()

        try:
            await renewal.begin()
            async with asyncio.TaskGroup() as group:
                renewing = group.create_task(renew())
                try:
                    yield
                finally:
                    async with saying:  # so that to let go is the last that is said
                        renewing.cancel()
        except BaseExceptionGroup as errors:
            raise errors.exceptions[0] from None
        finally:
            with contextlib.suppress(ClientError):  # it ends by itself
                await renewal.let_go()
