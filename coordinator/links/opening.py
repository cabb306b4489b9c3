"""The opening of a stream to a joint: connection, hello, welcome. Nothing takes effect by it."""

import os
from typing import Final

from websockets.asyncio.client import ClientConnection, connect
from websockets.typing import Subprotocol

from coordinator.core.events import StreamAddress
from coordinator.links.peer import Handshake
from protocol.constants import MAX_FRAME_BYTES, SUBPROTOCOL
from protocol.keys import NONCE_BYTES
from protocol.messages import Welcome

PING_S: Final = 5.0
"""So that a joint that lost its power is noticed, though TCP would wait for minutes."""
CLOSE_S: Final = 1.0


class Opening:
    """How this coordinator opens streams in one session. Needs the arm's key."""

    def __init__(self, arm_key: bytes, coordinator_id: bytes, session: int) -> None:
        self.session = session
        self._arm_key = arm_key
        self._coordinator_id = coordinator_id

    async def greet(self, socket: ClientConnection, joint_id: str) -> tuple[Handshake, Welcome]:
        """Hello and the joint's welcome, which proves its id and the key.

        Raises HandshakeError, FrameError, ConnectionClosed.
        """
        handshake = Handshake(
            self._arm_key, joint_id, self._coordinator_id, self.session, os.urandom(NONCE_BYTES)
        )
        await socket.send(handshake.hello())
        return handshake, handshake.welcome(await socket.recv())


def connection(address: StreamAddress) -> connect:
    """A connection to a joint's stream, to be entered. Raises OSError, InvalidHandshake there."""
    return connect(
        f"ws://{address}{address.path}",
        subprotocols=[Subprotocol(SUBPROTOCOL)],
        compression=None,
        proxy=None,
        user_agent_header=None,
        open_timeout=None,
        ping_interval=PING_S,
        ping_timeout=PING_S,
        close_timeout=CLOSE_S,
        max_size=MAX_FRAME_BYTES,
    )
