"""Carries the core's actions to the joints, and what they answer back as events."""

import asyncio
from collections.abc import Callable

from coordinator.core.events import (
    Action,
    AskByMulticast,
    AskedByMulticast,
    Connect,
    Disconnect,
    DriveSent,
    Event,
    FrameSent,
    Knock,
    LinkUp,
    Seek,
    SendDrive,
    SendFrame,
)
from coordinator.links.datagrams import DatagramPort
from coordinator.links.discovery import Discovery
from coordinator.links.knocking import Knocking
from coordinator.links.opening import Opening
from coordinator.links.peer import SessionKeys
from coordinator.links.streams import JointStream


class Carrier:
    """All sockets to the joints, on the interface with one IPv4 address."""

    def __init__(
        self,
        interface: str,
        service_type: str,
        arm_key: bytes,
        coordinator_id: bytes,
        deliver: Callable[[Event], None],
    ) -> None:
        self._interface = interface
        self._arm_key = arm_key
        self._coordinator_id = coordinator_id
        self._deliver = deliver
        self._datagrams = DatagramPort(deliver)
        self._discovery = Discovery(interface, service_type, deliver)
        self._knocking = Knocking(deliver)
        self._streams: dict[str, JointStream] = {}
        self._keys: dict[str, SessionKeys] = {}
        """Kept as long as the session: a joint that is found again in it keeps them too."""
        self._closing: set[asyncio.Task[None]] = set()

    async def open(self) -> None:
        """Open the datagram socket and begin to look for joints. Raises OSError."""
        await self._datagrams.open(self._interface)
        await self._discovery.open()

    async def close(self) -> None:
        """Close everything."""
        await self._discovery.close()
        for stream in self._streams.values():
            stream.close()
        await asyncio.gather(*(stream.closed() for stream in self._streams.values()))
        await asyncio.gather(*self._closing)
        await self._knocking.close()
        self._datagrams.close()

    async def refresh(self) -> None:
        """See to it that announcements are heard again after a sleep."""
        await self._discovery.refresh()

    def carry_out(self, action: Action) -> DriveSent | FrameSent | AskedByMulticast | None:
        """Do one action; what was sent, and when, for the core. Others are no business here."""
        match action:
            case SendDrive(joint_id=joint_id, drive=drive):
                return self._datagrams.send(joint_id, drive)
            case SendFrame(joint_id=joint_id, token=token, content=content):
                stream = self._streams.get(joint_id)
                number = stream.send(content) if stream else None
                return None if number is None else FrameSent(joint_id, token, number)
            case Connect():
                self._connect(action)
            case Knock(session=session):
                self._knocking.begin(action, self._opening(session))
            case Seek():
                self._discovery.seek()
            case AskByMulticast():
                return self._discovery.ask_by_multicast(action)
            case Disconnect(joint_id=joint_id):
                self._hang_up(joint_id)
                self._datagrams.detach(joint_id)
        return None

    def _connect(self, target: Connect) -> None:
        self._hang_up(target.joint_id)
        keys = self._keys.get(target.joint_id)
        if keys is None or keys.session != target.session:
            keys = self._keys[target.joint_id] = SessionKeys(target.session)
        in_force = keys

        def deliver(event: Event) -> None:
            if isinstance(event, LinkUp):
                # Only now is it known that it is the joint: until then its datagrams go where
                # they went before.
                address = (target.address.host, event.welcome.udp)
                self._datagrams.attach(target.joint_id, address, in_force)
            self._deliver(event)

        self._streams[target.joint_id] = JointStream(
            target, self._opening(target.session), keys, deliver
        )

    def _opening(self, session: int) -> Opening:
        return Opening(self._arm_key, self._coordinator_id, session)

    def _hang_up(self, joint_id: str) -> None:
        stream = self._streams.pop(joint_id, None)
        if stream is not None:
            stream.close()
            # Closing takes a moment; the task is kept so that it is not lost before its end.
            task = asyncio.get_running_loop().create_task(stream.closed())
            self._closing.add(task)
            task.add_done_callback(self._closing.discard)
