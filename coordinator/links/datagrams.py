"""The datagram exchange with all joints, over one UDP socket."""

import asyncio
import logging
import os
from collections.abc import Callable
from dataclasses import dataclass, field

from coordinator.core.events import DriveSent, Replied
from coordinator.links.clock import arm_now_up_us, arm_now_us
from coordinator.links.peer import Exchanges, SessionKeys
from protocol.constants import MAX_DATAGRAM_BYTES
from protocol.drive import Drive
from protocol.errors import WireError

Address = tuple[str, int]
_logger = logging.getLogger(__name__)


@dataclass(slots=True)
class _Peer:
    address: Address
    keys: SessionKeys
    exchanges: Exchanges = field(default_factory=Exchanges)


class DatagramPort(asyncio.DatagramProtocol):
    """Sends drives and delivers the replies that answer them; all else is dropped unseen."""

    def __init__(self, deliver: Callable[[Replied], None]) -> None:
        self._deliver = deliver
        self._transport: asyncio.DatagramTransport | None = None
        self._peers: dict[str, _Peer] = {}
        self._by_address: dict[Address, str] = {}

    async def open(self, interface: str) -> None:
        """Bind a free port of an interface's address. Raises OSError."""
        loop = asyncio.get_running_loop()
        self._transport, _ = await loop.create_datagram_endpoint(
            lambda: self, local_addr=(interface, 0)
        )

    def close(self) -> None:
        """Close the socket; what is still to be sent goes nowhere."""
        if self._transport is not None:
            self._transport.close()
            self._transport = None

    def attach(self, joint_id: str, address: Address, keys: SessionKeys) -> None:
        """Exchange with a joint at an address, with the keys of a session."""
        peer = self._peers.get(joint_id)
        if peer is None or peer.keys is not keys:
            peer = self._peers[joint_id] = _Peer(address, keys)
        peer.address = address
        self._by_address = {other.address: name for name, other in self._peers.items()}

    def detach(self, joint_id: str) -> None:
        """Forget a joint."""
        self._peers.pop(joint_id, None)
        self._by_address = {other.address: name for name, other in self._peers.items()}

    def send(self, joint_id: str, drive: Drive) -> DriveSent | None:
        """Send a drive; None when there are no keys for the joint yet."""
        peer = self._peers.get(joint_id)
        if peer is None or peer.keys.current is None or self._transport is None:
            return None
        transmit = int.from_bytes(os.urandom(8))
        # T1 stands before all that takes time, sealing included: a limit that is late is false.
        t1_us = arm_now_us()
        data = peer.exchanges.request(drive, transmit, t1_us, peer.keys.current)
        self._transport.sendto(data, peer.address)
        return DriveSent(joint_id, drive.sequence, t1_us)

    # ---- asyncio.DatagramProtocol ---------------------------------------------------------

    def datagram_received(self, data: bytes, addr: Address) -> None:
        """Time a datagram, then look at it."""
        t4_us = arm_now_up_us()
        joint_id = self._by_address.get((addr[0], addr[1]))
        if joint_id is None or len(data) > MAX_DATAGRAM_BYTES:
            return
        peer = self._peers[joint_id]
        if peer.keys.current is None:
            return
        try:
            replied = peer.exchanges.reply(joint_id, data, t4_us, peer.keys.current)
        except WireError as error:
            _logger.debug("%s: datagram dropped: %s", joint_id, error.message)
            return
        self._deliver(replied)

    def error_received(self, exc: Exception) -> None:
        """A joint's port is closed just now; its silence says so well enough."""
        _logger.debug("datagram not delivered: %s", exc)
