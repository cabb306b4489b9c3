"""A joint's datagram port asked by NTP clients that know nothing of this project.

`chronyd -Q` (chrony, tried with 4.3) and ntplib 0.4. Packet and modes: RFC 5905 §7.3.
"""

import asyncio
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from pathlib import Path
from typing import cast

import ntplib
import pytest

from protocol import ntp
from simulator.network import PROFILES
from simulator.server import joints_served
from tests.own import SERVICE_TYPE
from tests.reference.chrony import EXIT_S, ask_once
from tests.simulator.joints import settings


@asynccontextmanager
async def joint_port() -> AsyncIterator[int]:
    async with joints_served(
        [settings()],
        bytes(32),
        interface="127.0.0.1",
        profile=PROFILES["quiet"],
        seed=1,
        service_type=SERVICE_TYPE,
    ) as ports:
        yield ports[0].udp_port


class Responder(asyncio.DatagramProtocol):
    """Answers a request with whatever `spoil` makes of a good reply."""

    def __init__(self, spoil: Callable[[bytearray], None]) -> None:
        self._spoil = spoil

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        # In Python 3.11 the loop's own transport is one by its methods only.
        self._transport = cast(asyncio.DatagramTransport, transport)

    def datagram_received(self, data: bytes, addr: tuple[str, int]) -> None:
        reply = bytearray(ntp.encode_reply(ntp.decode_packet(data), 1e6, 1e6))
        self._spoil(reply)
        self._transport.sendto(bytes(reply), addr)


async def chronyd(port: int, folder: Path) -> int:
    """Ask once with chronyd; its exit code."""
    code, _ = await ask_once(port, folder, options="maxsamples 1", give_up_s=15)
    return code


async def test_chronyd_accepts_a_joint_as_a_server(tmp_path: Path) -> None:
    async with joint_port() as port:
        assert await chronyd(port, tmp_path) == 0


def _stratum_16(reply: bytearray) -> None:
    reply[1] = 16


def _wrong_origin(reply: bytearray) -> None:
    reply[24] ^= 1


def _nothing(_reply: bytearray) -> None:
    """The same responder, unspoiled: it is the spoiling that chronyd minds."""


@pytest.mark.parametrize(
    ("spoil", "accepted"), [(_stratum_16, False), (_wrong_origin, False), (_nothing, True)]
)
async def test_chronyd_accepts_a_responder_unless_its_stratum_or_origin_is_wrong(
    spoil: Callable[[bytearray], None], accepted: bool, tmp_path: Path
) -> None:
    loop = asyncio.get_running_loop()
    transport, _ = await loop.create_datagram_endpoint(
        lambda: Responder(spoil), local_addr=("127.0.0.1", 0)
    )
    try:
        code = await chronyd(transport.get_extra_info("sockname")[1], tmp_path)
        assert (code == 0) is accepted
    finally:
        transport.close()


@pytest.mark.parametrize("version", [3, 4])
async def test_ntplib_gets_a_server_packet_with_its_own_origin(
    version: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    # ntplib does not compare the origin itself: what it sent is kept here to do so.
    sent: list[bytes] = []
    to_data = ntplib.NTPPacket.to_data

    def kept(packet: ntplib.NTPPacket) -> bytes:
        sent.append(to_data(packet))
        return sent[-1]

    monkeypatch.setattr(ntplib.NTPPacket, "to_data", kept)
    async with joint_port() as port:
        reply = await asyncio.to_thread(
            ntplib.NTPClient().request, "127.0.0.1", version=version, port=port, timeout=EXIT_S
        )
    assert (reply.mode, reply.leap, reply.version, reply.stratum) == (4, 0, version, 1)
    (request,) = sent
    asked = ntplib.NTPPacket()
    asked.from_data(request)
    assert reply.orig_timestamp == asked.tx_timestamp > 0
    # Zero is the invalid timestamp (RFC 5905 §6).
    assert 0 < reply.recv_timestamp <= reply.tx_timestamp
