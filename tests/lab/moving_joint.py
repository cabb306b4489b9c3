"""A software joint that keeps its ports when its host gets another address, and says so at once.

`unisono simulate` serves on the one address that it is given; firmware listens on all and announces
what the network gives it (protocol/README.md, discovery). Takes arm file, data folder, truth log
and the joint's name; prints the same JSON as `unisono simulate --json`.
"""

import asyncio
import contextlib
import fcntl
import json
import secrets
import socket
import struct
import sys
from pathlib import Path
from typing import Final

from zeroconf import IPVersion, ServiceInfo
from zeroconf.asyncio import AsyncZeroconf

from coordinator.config.arm import load_arm
from coordinator.config.data_folder import read_key
from coordinator.config.settings import service_type
from coordinator.rehearsal.software_joints import joint_settings
from protocol.discovery import Announcement
from simulator.network import PROFILES, Link
from simulator.port import JointPort, world_us
from simulator.unit import FIRMWARE, JointUnit, WorldTruth
from tests.lab.keeper import DEVICE

ANY: Final = "0.0.0.0"
SIOCGIFADDR: Final = 0x8915
LOOK_S: Final = 0.05
SEED: Final = 1


def address_now() -> str | None:
    """The address of this host's network device (netdevice(7)), None while it has none."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asked, contextlib.suppress(OSError):
        found = fcntl.ioctl(asked, SIOCGIFADDR, struct.pack("256s", DEVICE.encode()))
        return socket.inet_ntoa(found[20:24])
    return None


def announcement(port: JointPort, address: str) -> ServiceInfo:
    """What the joint says of itself there."""
    settings = port.unit.settings
    return ServiceInfo(
        service_type(),
        f"{settings.name}-{settings.id}.{service_type()}",
        addresses=[socket.inet_aton(address)],
        port=port.stream_port,
        properties=Announcement(settings.id, FIRMWARE, port.udp_port).txt(),
        server=f"{settings.id}-{port.udp_port}.local.",
    )


async def serve(arm: Path, data: Path, truth: Path, name: str) -> None:
    """Serve the joint until killed."""
    (settings,) = joint_settings(load_arm(arm), SEED, [name])

    def told(joint: str, what: WorldTruth) -> None:
        line = {key: getattr(what, key) for key in what.__slots__} | {"joint": joint}
        with truth.open("a", encoding="utf-8") as log:
            log.write(json.dumps(line) + "\n")

    unit = JointUnit(settings, read_key(data), world_us(), boot=secrets.randbits(32) or 1)
    port = JointPort(unit, Link(PROFILES["none"], SEED), told)
    await port.open(ANY)
    at: str | None = None
    zeroconf: AsyncZeroconf | None = None
    is_ready = False
    while True:
        address = address_now()
        if address is not None and address != at:
            if zeroconf is not None:
                await zeroconf.async_close()
            zeroconf = AsyncZeroconf(interfaces=[address], ip_version=IPVersion.V4Only)
            info = announcement(port, address)
            # Nobody is asked first: the name has been this joint's own all the time.
            await (await zeroconf.async_register_service(info, cooperating_responders=True))
            at = address
        if not is_ready:
            is_ready = True
            ports = {"stream_port": port.stream_port, "udp_port": port.udp_port}
            sys.stdout.write(json.dumps({"joints": [{"id": settings.id, **ports}]}) + "\n")
            sys.stdout.flush()
        await asyncio.sleep(LOOK_S)


if __name__ == "__main__":
    asyncio.run(serve(Path(sys.argv[1]), Path(sys.argv[2]), Path(sys.argv[3]), sys.argv[4]))
