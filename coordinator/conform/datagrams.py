"""Datagrams to the joint under test, right and wrong ones, and when what came back came."""

import asyncio
import os
from dataclasses import dataclass
from typing import Final, Self

from coordinator.conform.check import Wrong
from coordinator.links.clock import arm_now_up_us, arm_now_us
from protocol import ntp
from protocol.errors import DatagramError

REPLY_S: Final = 0.3
"""For one reply: the worst Wi-Fi takes a fifth of a second."""
AGAIN_S: Final = 0.06
"""After which a drive is sent again, as a coordinator would have: permissions are short."""
DRIVE_S: Final = 2.0
"""In which one drive of many is answered."""
QUIET_S: Final = 0.35
"""In which nothing comes where nothing may come."""
TRIES: Final = 6


@dataclass(frozen=True, slots=True)
class Answered:
    """One exchange. T1 and T4 in arm time, T2 and T3 in joint time, in µs."""

    t1_us: int
    t2_us: float
    t3_us: float
    t4_us: int
    data: bytes
    packet: ntp.NtpPacket

    @property
    def round_trip_us(self) -> float:
        """On the way, there and back."""
        return self.t4_us - self.t1_us - (self.t3_us - self.t2_us)


class Datagrams(asyncio.DatagramProtocol):
    """One UDP socket to the joint."""

    def __init__(self) -> None:
        self._came: asyncio.Queue[tuple[int, bytes]] = asyncio.Queue()
        self._transport: asyncio.DatagramTransport | None = None

    @classmethod
    async def open(cls, host: str, port: int) -> Self:
        """A socket of its own. Raises OSError."""
        made = cls()
        loop = asyncio.get_running_loop()
        made._transport, _ = await loop.create_datagram_endpoint(
            lambda: made, remote_addr=(host, port)
        )
        return made

    def close(self) -> None:
        """Give the socket back."""
        if self._transport is not None:
            self._transport.close()

    def datagram_received(self, data: bytes, addr: object) -> None:
        """Something came."""
        self._came.put_nowait((arm_now_up_us(), data))

    def error_received(self, exc: Exception) -> None:
        """A port that nobody listens on; it shows by nothing coming."""

    def send(self, data: bytes) -> None:
        """Send and forget."""
        assert self._transport is not None
        self._transport.sendto(data)

    async def ask(self, data: bytes, transmit: int, within_s: float = REPLY_S) -> Answered | None:
        """Send a request; what its own reply says, None where none comes."""
        t1_us = arm_now_us()
        self.send(data)
        return await self.reply({transmit: t1_us}, within_s)

    async def reply(self, waiting: dict[int, int], within_s: float) -> Answered | None:
        """The first reply to one of some requests, T1 by their transmit; None where none comes."""
        try:
            async with asyncio.timeout(within_s):
                while True:
                    t4_us, came = await self._came.get()
                    packet = _packet(came)
                    if packet is not None and packet.origin in waiting:
                        return Answered(
                            waiting[packet.origin],
                            ntp.joint_time_us(packet.receive),
                            ntp.joint_time_us(packet.transmit),
                            t4_us,
                            came,
                            packet,
                        )
        except TimeoutError:
            return None

    async def bare(self, version: int = ntp.VERSION) -> Answered:
        """A bare exchange. Raises Wrong where none succeeds."""
        for _ in range(TRIES):
            transmit = new_transmit()
            answered = await self.ask(bare_request(transmit, version), transmit)
            if answered is not None:
                return answered
        raise Wrong("a reply to a bare NTP request", f"none to {TRIES}")

    async def require_silence(self, data: bytes) -> None:
        """Raises Wrong where anything answers a datagram."""
        self.drain()
        self.send(data)
        try:
            async with asyncio.timeout(QUIET_S):
                while True:
                    _, came = await self._came.get()
                    packet = _packet(came)
                    # A reply to an earlier one may be late.
                    if len(data) < ntp.PACKET_BYTES or (
                        packet is not None and packet.origin.to_bytes(8) == data[40:48]
                    ):
                        break
        except TimeoutError:
            return
        raise Wrong("no reply", f"{len(came)} bytes")

    def drain(self) -> None:
        """Forget what came late."""
        while not self._came.empty():
            self._came.get_nowait()


def _packet(data: bytes) -> ntp.NtpPacket | None:
    try:
        return ntp.decode_packet(data)
    except DatagramError:
        return None


def new_transmit() -> int:
    """A request's random number."""
    return int.from_bytes(os.urandom(8))


def bare_request(transmit: int, version: int = ntp.VERSION, mode: int = ntp.MODE_CLIENT) -> bytes:
    """A bare request's 48 bytes."""
    return bytes((version << 3 | mode,)) + ntp.encode_request(transmit)[1:]
