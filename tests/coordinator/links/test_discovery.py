"""Announcements heard: wrong ones passed over, changed ones told again, goodbyes told."""

import asyncio
import contextlib
import errno
import logging
import secrets
import socket
from collections.abc import AsyncIterator, Callable

import pytest
from zeroconf import IPVersion, ServiceInfo
from zeroconf._protocol.outgoing import DNSOutgoing
from zeroconf.asyncio import AsyncZeroconf

from coordinator.core.events import AddressBack, AddressGone, Event, Found, Gone, Silent
from coordinator.links import address
from coordinator.links import discovery as discovery_module
from coordinator.links.discovery import Discovery
from protocol.discovery import Announcement
from tests.own import SERVICE_TYPE

HOST = "127.0.0.1"
PATIENCE_S = 40.0


def service(joint_id: str, port: int, **changes: str) -> ServiceInfo:
    return ServiceInfo(
        SERVICE_TYPE,
        f"elbow-{joint_id}.{SERVICE_TYPE}",
        addresses=[socket.inet_aton(HOST)],
        port=port,
        properties=Announcement(joint_id, "test 1", port + 1).txt() | changes,
        server=f"{joint_id}.local.",
    )


@contextlib.asynccontextmanager
async def announcer() -> AsyncIterator[AsyncZeroconf]:
    zeroconf = AsyncZeroconf(interfaces=[HOST], ip_version=IPVersion.V4Only)
    try:
        yield zeroconf
    finally:
        await zeroconf.async_close()


async def test_changes_are_told_again_and_wrong_announcements_passed_over() -> None:
    heard: asyncio.Queue[Event] = asyncio.Queue()
    joint_id = secrets.token_hex(6)
    instance = f"elbow-{joint_id}"
    discovery = Discovery(HOST, SERVICE_TYPE, heard.put_nowait)

    async def next_of_this_joint() -> Event:
        async with asyncio.timeout(PATIENCE_S):
            while True:
                event = await heard.get()
                if isinstance(event, Found | Gone) and event.instance == instance:
                    return event

    async with announcer() as zeroconf:
        await discovery.open()
        wrong = service(joint_id, 1000, id="not hex")
        await (await zeroconf.async_register_service(wrong, cooperating_responders=True))
        for port in (2000, 3000):
            await (await zeroconf.async_update_service(service(joint_id, port)))
            found = await next_of_this_joint()
            # The first that is told is the first that is right.
            assert isinstance(found, Found)
            assert (found.host, found.stream_port) == (HOST, port)
            assert found.announcement.udp_port == port + 1
        await zeroconf.async_unregister_all_services()
        assert await next_of_this_joint() == Gone(instance)
        await discovery.close()


RESPONSE = 0x8400
"""Flags of an authoritative response (RFC 6762 §18)."""


def announce_once(info: ServiceInfo) -> None:
    """Announce as a joint does that loses power afterwards: nobody will answer for it."""
    response = DNSOutgoing(RESPONSE)
    records = [info.dns_pointer(), info.dns_service(), info.dns_text(), *info.dns_addresses()]
    for record in records:
        response.add_answer_at_time(record, 0)
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as out:
        out.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_IF, socket.inet_aton(HOST))
        for packet in response.packets():
            out.sendto(packet, ("224.0.0.251", 5353))


async def test_joint_that_lost_power_is_silent_and_is_found_again_when_it_is_back() -> None:
    heard: list[type[Event]] = []
    joint_id = secrets.token_hex(6)
    info = service(joint_id, 2000)
    info.host_ttl = 1

    def deliver(event: Event) -> None:
        if isinstance(event, Found | Silent) and event.instance == f"elbow-{joint_id}":
            heard.append(type(event))

    discovery = Discovery(HOST, SERVICE_TYPE, deliver)

    async def until(kind: type[Event]) -> None:
        async with asyncio.timeout(PATIENCE_S):
            while kind not in heard:
                await discovery.look_again()
                await asyncio.sleep(0.01)
        heard.clear()

    await discovery.open()
    announce_once(info)
    await until(Found)
    await until(Silent)
    info.host_ttl = 120
    announce_once(info)
    await until(Found)
    await discovery.close()


async def test_joint_is_found_anew_when_the_host_has_its_address_again(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """An address that goes takes the group's membership with it, if its adapter goes too."""
    joint_id = secrets.token_hex(6)
    instance = f"elbow-{joint_id}"
    heard: asyncio.Queue[Event] = asyncio.Queue()
    has = {HOST: True}
    monkeypatch.setattr(address, "has_address", has.__getitem__)
    monkeypatch.setattr(discovery_module, "ADDRESS_S", 0.01)
    discovery = Discovery(HOST, SERVICE_TYPE, heard.put_nowait)

    async def until(wanted: Callable[[Event], bool]) -> None:
        async with asyncio.timeout(PATIENCE_S):
            while not wanted(await heard.get()):
                pass

    def found(event: Event) -> bool:
        return isinstance(event, Found) and event.instance == instance

    async with announcer() as zeroconf:
        await discovery.open()
        await (
            await zeroconf.async_register_service(
                service(joint_id, 2000), cooperating_responders=True
            )
        )
        await until(found)
        before = discovery._zeroconf
        has[HOST] = False
        await until(lambda event: event == AddressGone(HOST))
        has[HOST] = True
        await until(lambda event: event == AddressBack(HOST))
        await until(found)
        assert discovery._zeroconf is not before
        await discovery.close()


async def test_address_that_is_not_there_when_the_laptop_wakes_is_waited_for(
    monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    heard: asyncio.Queue[Event] = asyncio.Queue()
    has = {HOST: True}
    monkeypatch.setattr(address, "has_address", has.__getitem__)
    monkeypatch.setattr(discovery_module, "ADDRESS_S", 0.01)
    discovery = Discovery(HOST, SERVICE_TYPE, heard.put_nowait)
    await discovery.open()

    async def no_network(_discovery: Discovery) -> None:
        raise OSError(errno.EADDRNOTAVAIL, "no such address")

    has[HOST] = False
    with monkeypatch.context() as away:
        away.setattr(Discovery, "_join", no_network)
        await discovery.refresh()
    assert f"announcements on {HOST} cannot be heard: " in caplog.text
    assert await discovery._ask(f"elbow.{SERVICE_TYPE}") is None  # a round meanwhile
    async with asyncio.timeout(PATIENCE_S):
        while await heard.get() != AddressGone(HOST):
            pass
        has[HOST] = True
        while await heard.get() != AddressBack(HOST):
            pass
        while discovery._zeroconf is None:
            await asyncio.sleep(0.01)
    await discovery.close()


async def test_network_that_cannot_be_joined_is_tried_again_and_told_once(
    monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    heard: list[Event] = []
    monkeypatch.setattr(discovery_module, "ADDRESS_S", 0.01)
    discovery = Discovery(HOST, SERVICE_TYPE, heard.append)
    await discovery.open()
    join, tried = Discovery._join, 0

    async def taken(self: Discovery) -> None:
        nonlocal tried
        tried += 1
        if tried < 4:
            raise OSError(errno.EADDRINUSE, "the port is taken")
        await join(self)

    monkeypatch.setattr(Discovery, "_join", taken)
    await discovery.refresh()
    async with asyncio.timeout(PATIENCE_S):
        while discovery._zeroconf is None:
            await asyncio.sleep(0.01)
    ours = [one for one in caplog.records if one.name == discovery_module.__name__]
    warned = [one for one in ours if one.levelno >= logging.WARNING]
    assert [one.getMessage() for one in warned] == [
        f"announcements on {HOST} cannot be heard: the port is taken"
    ]
    assert not [one for one in heard if isinstance(one, AddressGone | AddressBack)]
    await discovery.close()


def test_host_has_the_address_of_its_interface_and_no_other() -> None:
    assert address.has_address(HOST)
    # For documentation (RFC 5737): nobody's.
    assert not address.has_address("192.0.2.1")
