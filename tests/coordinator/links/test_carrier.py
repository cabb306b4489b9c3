"""Actions to a software joint and back as events, over real sockets on loopback."""

import asyncio
import contextlib
import secrets
import socket
from collections.abc import AsyncIterator
from dataclasses import dataclass, field
from typing import Any, TypeVar

import pytest

from coordinator.core.events import (
    Connect,
    Disconnect,
    DriveSent,
    Event,
    Found,
    FrameSent,
    Gone,
    Knock,
    Knocked,
    KnockFailed,
    LinkDown,
    LinkUp,
    Replied,
    Reported,
    Seek,
    SendDrive,
    SendFrame,
    StreamAddress,
)
from coordinator.links.carrier import Carrier
from coordinator.links.clock import arm_now_us
from coordinator.links.datagrams import DatagramPort
from coordinator.links.opening import Opening
from coordinator.links.peer import DatagramKeys, SessionKeys
from coordinator.links.streams import QUEUE_FRAMES, JointStream
from protocol import ntp
from protocol.discovery import Announcement, parse_txt
from protocol.drive import Drive, decode_drive
from protocol.messages import Ack, Blink
from protocol.states import JointState
from protocol.status import Status, encode_status
from simulator.network import PROFILES
from simulator.port import JointPort
from simulator.server import joints_served
from tests.own import SERVICE_TYPE
from tests.simulator.joints import settings

T = TypeVar("T", bound=Event)
HOST = "127.0.0.1"
KEY = bytes(range(32))
PATIENCE_S = 30.0


@dataclass
class Shell:
    """What a service is to a carrier: it hears events and hands on actions."""

    events: list[Event] = field(default_factory=list)
    news: asyncio.Event = field(default_factory=asyncio.Event)

    def deliver(self, event: Event) -> None:
        self.events.append(event)
        self.news.set()

    async def until(self, kind: type[T], **values: Any) -> T:
        """The first event of a kind with these values; it and those before it are forgotten."""
        async with asyncio.timeout(PATIENCE_S):
            while True:
                for k, event in enumerate(self.events):
                    if isinstance(event, kind) and all(
                        getattr(event, name) == value for name, value in values.items()
                    ):
                        del self.events[: k + 1]
                        return event
                self.news.clear()
                await self.news.wait()


@contextlib.asynccontextmanager
async def carried(key: bytes = KEY) -> AsyncIterator[tuple[Carrier, Shell]]:
    shell = Shell()
    carrier = Carrier(HOST, SERVICE_TYPE, key, bytes(16), shell.deliver)
    await carrier.open()
    try:
        yield carrier, shell
    finally:
        await carrier.close()


def joints(joint: Any = None) -> "contextlib.AbstractAsyncContextManager[list[JointPort]]":
    return joints_served(
        [joint or settings()],
        KEY,
        interface=HOST,
        profile=PROFILES["none"],
        seed=1,
        service_type=SERVICE_TYPE,
    )


def target(port: JointPort, session: int = 5) -> Connect:
    return Connect(port.unit.settings.id, address_of(port), session)


def address_of(port: JointPort) -> StreamAddress:
    return StreamAddress(HOST, port.stream_port, "/joint")


async def test_joint_is_found_linked_driven_asked_and_heard_to_leave() -> None:
    async with carried() as (carrier, shell):
        async with joints() as (port,):
            joint_id = port.unit.settings.id
            found = await shell.until(Found, instance=f"elbow-{joint_id}")
            assert (found.host, found.stream_port) == (HOST, port.stream_port)
            assert found.announcement.udp_port == port.udp_port
            assert found.announcement.id == joint_id

            drive = SendDrive(joint_id, Drive(5, 1))
            assert carrier.carry_out(drive) is None  # no keys yet
            assert carrier.carry_out(SendFrame(joint_id, 1, Blink())) is None
            carrier.carry_out(target(port))
            up = await shell.until(LinkUp)
            assert (up.joint_id, up.welcome.id) == (joint_id, joint_id)

            before = arm_now_us()
            sent = carrier.carry_out(drive)
            assert isinstance(sent, DriveSent)
            assert (sent.sequence, before <= sent.at_us <= arm_now_us()) == (1, True)
            replied = await shell.until(Replied)
            assert (replied.sequence, replied.status.state) == (1, JointState.UNHOMED)
            assert replied.exchange.t1_us == sent.at_us <= replied.exchange.t4_us

            framed = carrier.carry_out(SendFrame(joint_id, 42, Blink()))
            assert framed == FrameSent(joint_id, 42, 1)
            reported = await shell.until(Reported)
            assert reported.report == Ack(ref=1)
        await shell.until(Gone, instance=f"elbow-{joint_id}")
        assert (await shell.until(LinkDown)).code == "stream-closed"


async def test_datagrams_go_on_while_the_stream_is_gone_and_a_new_one_keeps_them() -> None:
    async with carried() as (carrier, shell), joints() as (port,):
        joint_id = port.unit.settings.id
        carrier.carry_out(target(port))
        first = await shell.until(LinkUp)
        carrier.carry_out(target(port))
        second = await shell.until(LinkUp)
        assert second.welcome.keyed == first.welcome.nonce
        assert isinstance(carrier.carry_out(SendDrive(joint_id, Drive(5, 1))), DriveSent)
        assert (await shell.until(Replied)).sequence == 1
        assert not [event for event in shell.events if isinstance(event, LinkDown)]

        carrier.carry_out(Disconnect(joint_id))
        assert carrier.carry_out(SendDrive(joint_id, Drive(5, 2))) is None


@contextlib.asynccontextmanager
async def losing_the_answer_to_a_proof(port: JointPort) -> AsyncIterator[StreamAddress]:
    """Where a joint can be reached up to its answer to the proof, which is lost with the stream."""

    async def pass_on(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        from_joint, to_joint = await asyncio.open_connection(HOST, port.stream_port)
        # The request to open a WebSocket, hello, proof: one follows the other's answer.
        for is_proof in (False, False, True):
            to_joint.write(await reader.read(65_536))
            answer = await from_joint.read(65_536)
            if not is_proof:
                writer.write(answer)
        for end in (to_joint, writer):
            end.close()

    server = await asyncio.start_server(pass_on, HOST, 0)
    async with server:
        yield StreamAddress(HOST, server.sockets[0].getsockname()[1], "/joint")


async def test_datagram_keys_of_a_handshake_whose_last_answer_is_lost_are_known() -> None:
    async with carried() as (carrier, shell), joints() as (port,):
        joint_id = port.unit.settings.id
        async with losing_the_answer_to_a_proof(port) as address:
            carrier.carry_out(Connect(joint_id, address, 5))
            await shell.until(LinkDown)
        carrier.carry_out(target(port))
        up = await shell.until(LinkUp)
        assert up.welcome.keyed is not None
        assert isinstance(carrier.carry_out(SendDrive(joint_id, Drive(5, 1))), DriveSent)
        assert (await shell.until(Replied)).sequence == 1


async def test_new_session_has_keys_of_its_own() -> None:
    async with carried() as (carrier, shell), joints() as (port,):
        joint_id = port.unit.settings.id
        carrier.carry_out(target(port, session=5))
        await shell.until(LinkUp)
        carrier.carry_out(target(port, session=6))
        assert (await shell.until(LinkUp)).welcome.keyed is None
        carrier.carry_out(SendDrive(joint_id, Drive(6, 1)))
        assert (await shell.until(Replied)).sequence == 1


@pytest.mark.parametrize(
    ("key", "joint_id", "code"),
    [(bytes(32), "", "key-wrong"), (KEY, "ffffffffffff", "id-wrong")],
)
async def test_link_that_must_not_be_says_why(key: bytes, joint_id: str, code: str) -> None:
    async with carried(key) as (carrier, shell), joints() as (port,):
        wanted = target(port)
        carrier.carry_out(Connect(joint_id or wanted.joint_id, wanted.address, 5))
        assert (await shell.until(LinkDown)).code == code


async def test_joint_that_is_not_there_is_unreachable() -> None:
    async with carried() as (carrier, shell):
        carrier.carry_out(Connect("0a1b2c3d4e5f", StreamAddress(HOST, 9, "/joint"), 5))
        down = await shell.until(LinkDown)
        assert (down.code, f"{HOST}:9" in down.message) == ("unreachable", True)


async def test_opening_request_is_short_enough_for_a_small_http_server() -> None:
    asked: asyncio.Future[bytes] = asyncio.get_running_loop().create_future()

    async def listen(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        asked.set_result(await reader.readuntil(b"\r\n\r\n"))
        writer.close()

    server = await asyncio.start_server(listen, HOST, 0)
    port_number = server.sockets[0].getsockname()[1]
    longest = parse_txt({**Announcement("0a1b2c3d4e5f", "1", 9).txt(), "path": "/" + 63 * "p"})
    async with server, carried() as (carrier, shell):
        carrier.carry_out(Connect(longest.id, StreamAddress(HOST, port_number, longest.path), 5))
        request = await asyncio.wait_for(asked, PATIENCE_S)
        await shell.until(LinkDown)
    # protocol/README.md, the stream. The longest address and port make it 11 bytes longer.
    assert len(request) + 11 <= 512


async def test_silent_peer_times_out_and_holds_up_nobody() -> None:
    writers: list[asyncio.StreamWriter] = []

    async def silent(_reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writers.append(writer)

    server = await asyncio.start_server(silent, HOST, 0)
    port_number = server.sockets[0].getsockname()[1]
    async with server, carried() as (carrier, shell), joints() as (port,):
        carrier.carry_out(Connect("0a1b2c3d4e5f", StreamAddress(HOST, port_number, "/joint"), 5))
        carrier.carry_out(target(port))
        await shell.until(LinkUp)  # while the other one still waits
        assert (await shell.until(LinkDown)).code == "handshake-timeout"
        for writer in writers:
            writer.close()


async def test_joint_that_takes_no_frames_loses_its_stream() -> None:
    shell = Shell()
    async with joints() as (port,):
        stream = JointStream(
            target(port), Opening(KEY, bytes(16), 5), SessionKeys(5), shell.deliver
        )
        await shell.until(LinkUp)
        numbers = [stream.send(Blink()) for _ in range(QUEUE_FRAMES + 1)]  # no turn for the writer
        assert numbers == [*range(1, QUEUE_FRAMES + 1), None]
        down = await shell.until(LinkDown)
        assert (down.code, "no more frames" in down.message) == ("stream-closed", True)
        assert stream.send(Blink()) is None
        await stream.closed()


class FakeJoint(asyncio.DatagramProtocol):
    """Answers each drive several times, and with noise; remembers where from."""

    def __init__(self, keys: DatagramKeys) -> None:
        self.keys = keys
        self.transport: asyncio.DatagramTransport

    def datagram_received(self, data: bytes, addr: tuple[str, int]) -> None:
        packet, drive = decode_drive(data, self.keys.to_joint)
        status = Status(7, drive.sequence, JointState.READY)
        reply = encode_status(status, packet, 1e6, 1e6, self.keys.to_coordinator)
        foreign = encode_status(status, packet, 1e6, 1e6, bytes(32))
        for answer in (b"", secrets.token_bytes(600), foreign, ntp.encode_reply(packet, 1, 1)):
            self.transport.sendto(answer, addr)
        for _ in range(3):
            self.transport.sendto(reply, addr)


async def test_only_the_first_good_reply_to_a_drive_counts() -> None:
    keys = DatagramKeys(secrets.token_bytes(32), secrets.token_bytes(32))
    session = SessionKeys(5)
    session.current = keys
    shell = Shell()
    loop = asyncio.get_running_loop()
    fake = FakeJoint(keys)
    fake.transport, _ = await loop.create_datagram_endpoint(lambda: fake, local_addr=(HOST, 0))
    datagrams = DatagramPort(shell.deliver)
    await datagrams.open(HOST)
    datagrams.attach("elbow", fake.transport.get_extra_info("sockname"), session)
    for sequence in (1, 2, 3):
        assert datagrams.send("elbow", Drive(5, sequence)) is not None
        assert (await shell.until(Replied)).sequence == sequence
    # Each reply came three times; all but the last's doubles have been looked at by now.
    assert [event for event in shell.events if event.sequence != 3] == []  # type: ignore[union-attr]
    datagrams.close()
    fake.transport.close()


async def test_knock_where_a_joint_is_brings_its_boot_and_changes_nothing_there() -> None:
    async with carried() as (carrier, shell), joints() as (port,):
        joint_id, address = port.unit.settings.id, address_of(port)
        carrier.carry_out(target(port))
        await shell.until(LinkUp)
        carrier.carry_out(Knock(joint_id, address, 5, 1234))
        boot = port.unit.joint.identity.boot
        assert await shell.until(Knocked) == Knocked(joint_id, address, boot, 1234)
        assert port.unit.joint.session == 5
        carrier.carry_out(SendDrive(joint_id, Drive(5, 1)))
        await shell.until(Replied)
        assert not [one for one in shell.events if isinstance(one, LinkDown)]


@pytest.mark.parametrize(
    ("key", "joint_id", "code"),
    [(bytes(32), None, "key-wrong"), (KEY, "ffffffffffff", "id-wrong")],
)
async def test_knock_at_another_key_or_id_fails_with_its_code(
    key: bytes, joint_id: str | None, code: str
) -> None:
    async with carried(key) as (carrier, shell), joints() as (port,):
        address = address_of(port)
        carrier.carry_out(Knock(joint_id or port.unit.settings.id, address, 5, 1))
        failed = await shell.until(KnockFailed)
        assert (failed.address, failed.code) == (address, code)


async def test_knock_where_nobody_is_fails_and_holds_up_no_end() -> None:
    async with carried() as (carrier, shell):
        carrier.carry_out(Knock("0a1b2c3d4e5f", StreamAddress(HOST, 9, "/joint"), 5, 1))
        assert (await shell.until(KnockFailed)).code == "unreachable"
        with socket.create_server((HOST, 0)) as silent:  # takes connections and says nothing
            address = StreamAddress(HOST, silent.getsockname()[1], "/joint")
            carrier.carry_out(Knock("0a1b2c3d4e5f", address, 5, 1))
            failed = await shell.until(KnockFailed)
            assert (failed.address, failed.code) == (address, "unreachable")
            carrier.carry_out(Knock("0a1b2c3d4e5f", address, 5, 2))
            await asyncio.sleep(0)  # it is under way when the carrier is closed


async def test_datagrams_go_on_to_where_the_joint_was_proved_while_another_place_is_tried() -> None:
    async with carried() as (carrier, shell), joints() as (port,):
        joint_id = port.unit.settings.id
        carrier.carry_out(target(port))
        await shell.until(LinkUp)
        carrier.carry_out(Connect(joint_id, StreamAddress(HOST, 9, "/joint"), 5))
        await shell.until(LinkDown)
        carrier.carry_out(SendDrive(joint_id, Drive(5, 1)))
        assert (await shell.until(Replied)).sequence == 1


async def test_joint_that_is_asked_for_is_found_by_the_answer_alone() -> None:
    """Its announcement is long over, and the answer comes straight to whoever asked."""
    async with carried() as (carrier, shell), joints() as (port,):
        instance = f"elbow-{port.unit.settings.id}"
        await shell.until(Found, instance=instance)
        assert not [one for one in shell.events if isinstance(one, Found)]
        carrier.carry_out(Seek())
        found = await shell.until(Found, instance=instance)
        assert found.address == address_of(port)
