"""A joint's clock as `chronyd` measures it, beside this project's own estimate.

chrony (tried with 4.3) asks a real socket, knows nothing of this project and measures by its own
means. It measures once, so that what it says is off by no more than the root distance of that
measurement, which it states itself (RFC 5905 §11.2). An estimate from several has no such bound:
three on a busy machine gave one that was off by more than the best of them.
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
from coordinator.timing.guarantee import DRIFT_PPM
from protocol import ntp
from protocol.constants import PPM
from simulator.network import PROFILES
from simulator.server import joints_served
from tests.own import SERVICE_TYPE
from tests.reference.chrony import EXIT_S, ask_once, root_distances_s
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
        self.clock.observe(exchange, exchange.t4_us)


async def asking(asker: Asker, port: int) -> None:
    """Ask for ever."""
    loop = asyncio.get_running_loop()
    transport, _ = await loop.create_datagram_endpoint(
        lambda: asker, remote_addr=("127.0.0.1", port)
    )
    try:
        while True:
            asker.ask(transport)
            await asyncio.sleep(PERIOD_S)
    finally:
        transport.close()


async def by_chronyd(port: int, folder: Path) -> float:
    """By how many seconds the joint's clock is ahead of the wall clock, as chronyd says."""
    _, said = await ask_once(port, folder, options="maxsamples 1", give_up_s=30)
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


async def test_chronyds_measurement_of_a_joint_is_our_estimate_within_what_both_state(
    tmp_path: Path,
) -> None:
    asker = Asker()
    async with joints_served(
        [settings()],
        bytes(32),
        interface="127.0.0.1",
        profile=PROFILES["none"],
        seed=1,
        service_type=SERVICE_TYPE,
    ) as ports:
        port = ports[0].udp_port
        task = asyncio.create_task(asking(asker, port))
        async with asyncio.timeout(EXIT_S):
            while not asker.clock.locked:
                await asyncio.sleep(PERIOD_S)
        since_us = arm_now_us()
        theirs_s = await by_chronyd(port, tmp_path)
        now_us = arm_now_us()
        offset_us = asker.clock.offset_us(now_us)
        assert offset_us is not None, asker.clock.reason
        apart_s = math.remainder(theirs_s - ahead_s(offset_us), ERA_S)
        task.cancel()
    (root_distance_s,) = root_distances_s(tmp_path)
    # It measured at some time since it was started: meanwhile the clocks drifted.
    drift_us = DRIFT_PPM / PPM * (now_us - since_us)
    allowed_us = asker.clock.estimate_error_us(now_us) + root_distance_s * 1e6 + drift_us
    assert abs(apart_s) * 1e6 <= allowed_us
