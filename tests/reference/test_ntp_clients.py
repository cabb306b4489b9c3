"""A joint's datagram port asked by NTP clients that know nothing of this project.

`chronyd -Q` (chrony, tried with 4.3) and ntplib 0.4. Packet and modes: RFC 5905 §7.3.
"""

import asyncio
import shutil
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from pathlib import Path

import ntplib
import pytest

from protocol import ntp
from simulator.network import PROFILES
from simulator.server import joints_served
from tests.simulator.joints import settings

EXIT_S = 60


@asynccontextmanager
async def joint_port() -> AsyncIterator[int]:
    async with joints_served(
        [settings()], bytes(32), interface="127.0.0.1", profile=PROFILES["quiet"], seed=1
    ) as ports:
        yield ports[0].udp_port


class Responder(asyncio.DatagramProtocol):
    """Answers a request with whatever `spoil` makes of a good reply."""

    def __init__(self, spoil: Callable[[bytearray], None]) -> None:
        self._spoil = spoil

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        assert isinstance(transport, asyncio.DatagramTransport)
        self._transport = transport

    def datagram_received(self, data: bytes, addr: tuple[str, int]) -> None:
        reply = bytearray(ntp.encode_reply(ntp.decode_packet(data), 1e6, 1e6))
        self._spoil(reply)
        self._transport.sendto(bytes(reply), addr)


async def chronyd(port: int, folder: Path) -> int:
    """Ask once with chronyd; its exit code."""
    found = shutil.which("chronyd") or "/usr/sbin/chronyd"
    assert Path(found).exists(), "chronyd is missing: run 'make system'"
    server = f"server 127.0.0.1 port {port} iburst minpoll -2 maxpoll -2 maxsamples 1"
    process = await asyncio.create_subprocess_exec(
        found, "-U", "-Q", "-t", "15", server, "cmdport 0", f"pidfile {folder / 'pid'}",
        stdout=asyncio.subprocess.DEVNULL, stderr=asyncio.subprocess.DEVNULL,
    )  # fmt: skip
    return await asyncio.wait_for(process.wait(), EXIT_S)


async def test_chronyd_accepts_a_joint_as_a_server(tmp_path: Path) -> None:
    async with joint_port() as port:
        assert await chronyd(port, tmp_path) == 0


def _stratum_16(reply: bytearray) -> None:
    reply[1] = 16


def _wrong_origin(reply: bytearray) -> None:
    reply[24] ^= 1


@pytest.mark.parametrize("spoil", [_stratum_16, _wrong_origin])
async def test_chronyd_would_not_accept_a_bad_responder(
    spoil: Callable[[bytearray], None], tmp_path: Path
) -> None:
    loop = asyncio.get_running_loop()
    transport, _ = await loop.create_datagram_endpoint(
        lambda: Responder(spoil), local_addr=("127.0.0.1", 0)
    )
    try:
        assert await chronyd(transport.get_extra_info("sockname")[1], tmp_path) != 0
    finally:
        transport.close()


@pytest.mark.parametrize("version", [3, 4])
async def test_ntplib_gets_a_server_packet_with_its_own_origin(version: int) -> None:
    async with joint_port() as port:
        reply = await asyncio.to_thread(
            ntplib.NTPClient().request, "127.0.0.1", version=version, port=port, timeout=EXIT_S
        )
    assert (reply.mode, reply.leap, reply.version) == (4, 0, version)
    assert 1 <= reply.stratum <= 15
    # ntplib puts its own time in the request; the joint must give it back exactly.
    assert reply.orig_timestamp > 0
    assert reply.recv_timestamp <= reply.tx_timestamp
    assert reply.delay >= 0
