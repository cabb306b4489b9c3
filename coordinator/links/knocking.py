"""Knocking where a joint was said to be: does it prove its id and the arm's key there?"""

import asyncio
from collections.abc import Callable
from typing import Final

from websockets.exceptions import ConnectionClosed, InvalidHandshake, InvalidURI

from coordinator.core.events import Knock, Knocked, KnockFailed
from coordinator.links.failures import why_no_stream
from coordinator.links.opening import Opening, connection
from protocol.errors import HandshakeError, WireError

KNOCK_S: Final = 3.0
"""For a connection and one answer; less than the time after which a address is knocked at again."""


class Knocking:
    """Knocks under way. Each delivers what came of it, unless closed before. Needs a loop."""

    def __init__(self, deliver: Callable[[Knocked | KnockFailed], None]) -> None:
        self._deliver = deliver
        self._tasks: set[asyncio.Task[None]] = set()

    def begin(self, knock: Knock, opening: Opening) -> None:
        """Knock at a address."""
        task = asyncio.get_running_loop().create_task(self._knock(knock, opening))
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)

    async def close(self) -> None:
        """Give up what is under way."""
        for task in self._tasks:
            task.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)

    async def _knock(self, knock: Knock, opening: Opening) -> None:
        try:
            async with asyncio.timeout(KNOCK_S) as limit, connection(knock.address) as socket:
                _, welcome = await opening.greet(socket, knock.joint_id)
                limit.reschedule(None)
                boot, begun_us = welcome.boot, knock.begun_us
                self._deliver(Knocked(knock.joint_id, knock.address, boot, begun_us))
        except WireError as error:
            code = error.code if isinstance(error, HandshakeError) else "handshake-order"
            self._failed(knock, code, error.message)
        except TimeoutError:
            self._failed(knock, "unreachable", f"nobody answers within {KNOCK_S:g} s")
        except (OSError, ConnectionClosed, InvalidHandshake, InvalidURI) as error:
            self._failed(knock, "unreachable", why_no_stream(error, knock.address))

    def _failed(self, knock: Knock, code: str, message: str) -> None:
        self._deliver(KnockFailed(knock.joint_id, knock.address, code, message))
