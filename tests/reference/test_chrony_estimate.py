"""A joint's clock as `chronyd` estimates it, beside this project's own estimate and guarantee.

chrony (tried with 4.3) asks a real socket, knows nothing of this project and estimates by its own
means. What it says can be off by half the round trip of the exchange that it went by (RFC 5905
§11.2, root distance), which is taken to be as long as the longest of ours meanwhile.
"""

import asyncio
import math
import re
import secrets
import time
from pathlib import Path

from coordinator.links.clock import arm_now_up_us, arm_now_us
from coordinator.timing.clock import JointClock
from coordinator.timing.exchange import Exchange
from protocol import ntp
from simulator.network import PROFILES
from simulator.server import joints_served
from tests.reference.chrony import ask_once
from tests.simulator.joints import settings

PERIOD_S = 0.04
ERA_S = 2**32
"""An NTP timestamp comes again after so many seconds (RFC 5905 §6)."""
NTP_TO_UNIX_S = 2_208_988_800
"""From 1900 to 1970 (RFC 5905 figure 4)."""


class Asker(asyncio.DatagramProtocol):
    """Exchanges with a joint's port as the coordinator does, for a clock of ours."""

    def __init__(self) -> None:
        self.clock = JointClock()
        self.longest_us = 0
        self._asked: dict[int, int] = {}

    def ask(self, transport: asyncio.DatagramTransport) -> None:
        nonce = secrets.randbits(64)
        self._asked[nonce] = arm_now_us()
        transport.sendto(ntp.encode_request(nonce))

    def datagram_received(self, data: bytes, _address: tuple[str, int]) -> None:
        packet = ntp.decode_packet(data)
        exchange = Exchange(
            self._asked.pop(packet.origin),
            math.ceil(ntp.joint_time_us(packet.receive)),
            math.floor(ntp.joint_time_us(packet.transmit)),
            arm_now_up_us(),
        )
        self.longest_us = max(self.longest_us, exchange.round_trip_us)
        self.clock.observe(exchange, exchange.t4_us)


async def asked_until(ended: asyncio.Future[float], port: int) -> Asker:
    loop = asyncio.get_running_loop()
    transport, asker = await loop.create_datagram_endpoint(Asker, remote_addr=("127.0.0.1", port))
    try:
        while not ended.done():
            asker.ask(transport)
            await asyncio.wait([ended], timeout=PERIOD_S)
    finally:
        transport.close()
    return asker


async def by_chronyd(port: int, folder: Path) -> float:
    """By how many seconds the joint's clock is ahead of the wall clock, as chronyd says."""
    _, said = await ask_once(port, folder, give_up_s=30)
    wrong_by = re.search(r"System clock wrong by (-?[\d.]+) seconds", said)
    assert wrong_by is not None, said
    return float(wrong_by[1])


def ahead_s(offset_us: float) -> float:
    """What an offset of a joint to arm time makes its NTP clock ahead of the wall clock."""
    before = time.clock_gettime_ns(time.CLOCK_MONOTONIC_RAW)
    wall_s = time.clock_gettime_ns(time.CLOCK_REALTIME) / 1e9 + NTP_TO_UNIX_S
    after = time.clock_gettime_ns(time.CLOCK_MONOTONIC_RAW)
    joint_s = ((before + after) / 2000 + offset_us) / 1e6 + ntp.BOOT_EPOCH_S
    return joint_s - wall_s


async def test_chronyds_estimate_of_a_joint_is_ours_within_what_both_may_be_off(
    tmp_path: Path,
) -> None:
    async with joints_served(
        [settings()], bytes(32), interface="127.0.0.1", profile=PROFILES["quiet"], seed=1
    ) as ports:
        port = ports[0].udp_port
        theirs = asyncio.ensure_future(by_chronyd(port, tmp_path))
        asker = await asked_until(theirs, port)
    now_us = arm_now_us()
    offset_us, guarantee = asker.clock.offset_us(now_us), asker.clock.guarantee(now_us)
    assert offset_us is not None
    assert guarantee is not None
    apart_s = math.remainder(theirs.result() - ahead_s(offset_us), ERA_S)
    allowed_us = guarantee.high_us - guarantee.low_us + asker.longest_us / 2
    assert abs(apart_s) * 1e6 <= allowed_us
