"""A joint's announcement, found by a browser that shares no code with what announces it.

Independent here: `dnslib`, by other authors, builds the questions and reads the answers;
`zeroconf`, by which the product announces and browses, has no part in it. It takes raw datagrams
from the multicast group and follows the records as RFC 6763 §4 to §6 says: PTR to an instance,
its SRV and TXT, and the A record of the SRV's host. Sections of RFC 6762 stand beside the checks,
from memory.
"""

import asyncio
import socket
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from dataclasses import dataclass
from typing import Any

import dnslib  # type: ignore[import-untyped]

from simulator.network import PROFILES
from simulator.port import JointPort
from simulator.server import joints_served
from tests.simulator.joints import settings

HOST = "127.0.0.1"
GROUP = ("224.0.0.251", 5353)
SERVICE = "_unisono-joint._tcp.local."
IN, CACHE_FLUSH = 1, 0x8000
"""The top bit of a class: this record is all that there is of its name and type (§10.2)."""
QUESTION_S = 1.0
PATIENCE_S = 30.0


@dataclass(frozen=True, slots=True)
class Heard:
    """One record of an answer."""

    name: str
    kind: str
    ttl_s: int
    is_unique: bool
    data: Any


class Browser:
    """Keeps every record of every answer that comes to a socket, oldest first."""

    def __init__(self, sock: socket.socket) -> None:
        self.heard: list[Heard] = []
        self._sock = sock

    async def ask(self, name: str, kind: str, found: Callable[[], bool]) -> None:
        """Ask until something is found: multicasts may be lost. Raises TimeoutError."""
        question = dnslib.DNSRecord(q=dnslib.DNSQuestion(name, getattr(dnslib.QTYPE, kind), IN))
        async with asyncio.timeout(PATIENCE_S):
            while not found():
                self._sock.sendto(question.pack(), GROUP)
                await self.listen(found, QUESTION_S)

    async def find(self, name: str, kind: str) -> Heard:
        """The newest answer about a name. Raises TimeoutError without any."""
        await self.ask(name, kind, lambda: bool(self.about(name, kind)))
        return self.about(name, kind)[-1]

    async def listen(self, found: Callable[[], bool], limit_s: float = PATIENCE_S) -> None:
        """Take in answers until something is found, or for so long."""
        loop = asyncio.get_running_loop()
        try:
            async with asyncio.timeout(limit_s):
                while not found():
                    self._take(await loop.sock_recv(self._sock, 9_000))
        except TimeoutError:
            pass

    def about(self, name: str, kind: str) -> list[Heard]:
        """Answers about a name."""
        return [one for one in self.heard if (one.name, one.kind) == (name, kind)]

    def _take(self, data: bytes) -> None:
        try:
            message = dnslib.DNSRecord.parse(data)
        except dnslib.DNSError:
            return  # anyone may send noise to the group
        if not message.header.qr:
            return
        for record in (*message.rr, *message.auth, *message.ar):
            if record.rclass & ~CACHE_FLUSH != IN:
                continue
            kind, unique = dnslib.QTYPE[record.rtype], bool(record.rclass & CACHE_FLUSH)
            self.heard.append(Heard(str(record.rname), kind, record.ttl, unique, record.rdata))


def open_socket(*, member: bool) -> socket.socket:
    """A member of the group on port 5353, or a one-shot asker on a port of its own."""
    made = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    made.setblocking(False)
    made.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_IF, socket.inet_aton(HOST))
    if member:
        made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEPORT, 1)
        made.bind(("", GROUP[1]))
        both = socket.inet_aton(GROUP[0]) + socket.inet_aton(HOST)
        made.setsockopt(socket.IPPROTO_IP, socket.IP_ADD_MEMBERSHIP, both)
    else:
        made.bind((HOST, 0))
    return made


@asynccontextmanager
async def joint() -> AsyncIterator[JointPort]:
    async with joints_served(
        [settings()], bytes(32), interface=HOST, profile=PROFILES["none"], seed=1
    ) as ports:
        yield ports[0]


async def find(browser: Browser, port: JointPort) -> dict[str, Heard]:
    """PTR, SRV, TXT and A of a joint, each asked for where it was not sent along."""
    wanted = f"{port.unit.settings.name}-{port.unit.settings.id}.{SERVICE}"

    def pointers() -> list[Heard]:
        return [one for one in browser.about(SERVICE, "PTR") if str(one.data.label) == wanted]

    await browser.ask(SERVICE, "PTR", lambda: bool(pointers()))
    found = {"PTR": pointers()[-1]}
    for kind in ("SRV", "TXT"):
        found[kind] = await browser.find(wanted, kind)
    return found | {"A": await browser.find(str(found["SRV"].data.target), "A")}


def assert_leads_to(port: JointPort, found: dict[str, Heard]) -> None:
    assert found["SRV"].data.port == port.stream_port
    assert str(found["A"].data) == HOST
    # `txtvers` stands first (RFC 6763 §6.7); the rest is protocol/README.md's own.
    assert [text.decode() for text in found["TXT"].data.data] == [
        "txtvers=1",
        f"id={port.unit.settings.id}",
        "proto=1",
        f"fw={port.unit.joint.identity.firmware}",
        "path=/joint",
        f"udp={port.udp_port}",
    ]


async def test_a_browser_in_the_group_finds_a_joint_and_hears_its_goodbye() -> None:
    with open_socket(member=True) as sock:
        browser = Browser(sock)
        async with joint() as port:
            found = await find(browser, port)
            assert_leads_to(port, found)
            # 120 s for records with a host's name, 75 minutes for others (§10).
            assert {kind: one.ttl_s for kind, one in found.items()} == {
                "PTR": 4_500, "SRV": 120, "TXT": 4_500, "A": 120,
            }  # fmt: skip
            # Many joints share the PTR's name; the other records are one joint's alone (§10.2).
            assert {kind for kind, one in found.items() if one.is_unique} == {"SRV", "TXT", "A"}
            assert browser.about(found["A"].name, "AAAA") == []

        def ended() -> bool:
            gone = [one for one in browser.heard if one.ttl_s == 0]
            return {"SRV", "TXT", "A"} <= {
                one.kind for one in gone if one.name in (found["SRV"].name, found["A"].name)
            } and found["SRV"].name in {str(one.data) for one in gone if one.kind == "PTR"}

        # Said as goodbye: TTL 0 (§10.1).
        await browser.listen(ended)
        assert ended()


async def test_a_one_shot_question_from_another_port_is_answered_to_that_port() -> None:
    # A legacy answer is unicast, repeats the question's id, and has no cache-flush bit (§6.7).
    async with joint() as port:
        with open_socket(member=False) as sock:
            found = await find(Browser(sock), port)
        assert_leads_to(port, found)
        assert not any(one.is_unique for one in found.values())
