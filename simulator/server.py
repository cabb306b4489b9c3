"""Software joints on real sockets: each with its ports, its link and its announcement.

Run it on an event loop of its own process. Several may run side by side, each with some of the
joints, and write to the same truth log.
"""

import asyncio
import contextlib
import itertools
import json
import secrets
import socket
from collections.abc import AsyncIterator, Awaitable, Callable, Sequence
from pathlib import Path
from random import Random
from typing import IO, Final

from zeroconf import DNSQuestionType, IPVersion, ServiceInfo
from zeroconf.asyncio import AsyncServiceInfo, AsyncZeroconf

from protocol.constants import SERVICE_TYPE
from protocol.discovery import Announcement
from simulator.network import Link, Profile
from simulator.port import JointPort, world_us
from simulator.settings import JointSettings
from simulator.unit import FIRMWARE, JointUnit, WorldTruth, share_supply

PROBE_MS: Final = 1_200
"""An owner answers a question for its own name at once, or within a second where it has multicast
the same answer just before (RFC 6762 §6)."""


@contextlib.asynccontextmanager
async def joints_served(
    joints: Sequence[JointSettings],
    key: bytes,
    *,
    interface: str,
    profile: Profile,
    seed: int,
    truth: Path | None = None,
    service_type: str = SERVICE_TYPE,
) -> AsyncIterator[list[JointPort]]:
    """Serve joints, base to tool, on the interface with this IPv4 address, until left.

    The joints have announced themselves when this is entered, and say goodbye when it is left.
    Raises OSError when an address or the truth log cannot be had.
    """
    async with contextlib.AsyncExitStack() as stack:
        on_truth: Callable[[str, WorldTruth], None] = _forget
        if truth is not None:
            on_truth = _TruthLog(stack.enter_context(truth.open("a", encoding="utf-8"))).write
        ports = []
        for settings in joints:
            unit = JointUnit(settings, key, world_us(), boot=secrets.randbits(32) or 1)
            link = Link(profile, _link_seed(seed, settings.id), int(world_us()))
            port = JointPort(unit, link, on_truth)
            await port.open(interface)
            stack.push_async_callback(port.close)
            ports.append(port)
        supply = asyncio.create_task(_share(ports))
        stack.callback(supply.cancel)
        zeroconf = AsyncZeroconf(interfaces=[interface], ip_version=IPVersion.V4Only)
        stack.push_async_callback(zeroconf.async_close)
        stack.push_async_callback(zeroconf.async_unregister_all_services)
        # Together: each waits for somebody who has the name already (RFC 6762 §8.1).
        announced = await asyncio.gather(
            *(_announce(zeroconf, port, interface, service_type) for port in ports)
        )
        await asyncio.gather(*announced)
        yield ports


async def _share(ports: Sequence[JointPort]) -> None:
    """Let the joints feel each other's draw on the supply, as slowly as they look at it."""
    while True:
        share_supply([port.unit for port in ports])
        await asyncio.sleep(1.0)


async def _announce(
    zeroconf: AsyncZeroconf, port: JointPort, interface: str, service_type: str
) -> Awaitable[None]:
    settings = port.unit.settings
    announcement = Announcement(settings.id, FIRMWARE, port.udp_port)
    port.instance = await _free_name(zeroconf, f"{settings.name}-{settings.id}", service_type)
    service = ServiceInfo(
        service_type,
        f"{port.instance}.{service_type}",
        addresses=[socket.inet_aton(interface)],
        port=port.stream_port,
        properties=announcement.txt(),
        # A host name of its own: two joints with one id must not share an address record.
        server=f"{settings.id}-{port.udp_port}.local.",
    )
    # The name was probed for already.
    return await zeroconf.async_register_service(service, cooperating_responders=True)


async def _free_name(zeroconf: AsyncZeroconf, name: str, service_type: str) -> str:
    """A name that nobody answers to, so that two joints with one id are both seen.

    The library's own probe asks for a shared record, whose owner may answer after it has ended. A
    multicast answer is asked for: of several programs on one host, a unicast one reaches any.
    """
    for number in itertools.count(2):
        found = AsyncServiceInfo(service_type, f"{name}.{service_type}")
        if not await found.async_request(
            zeroconf.zeroconf, PROBE_MS, question_type=DNSQuestionType.QM
        ):
            break
        name = f"{name.rpartition('-')[0] if number > 2 else name}-{number}"
    return name


def _link_seed(seed: int, joint_id: str) -> int:
    return Random(f"link {seed} {joint_id}").getrandbits(64)


def _forget(_joint: str, _truth: WorldTruth) -> None:
    """Nobody asked for the truth."""


class _TruthLog:
    """What truly happened, one JSON object a line, whatever the joints report."""

    def __init__(self, file: IO[str]) -> None:
        self._file = file

    def write(self, joint: str, truth: WorldTruth) -> None:
        """Write one line, whole, so that others may write to the same file."""
        line = {
            "joint": joint,
            "event": truth.event,
            "at_ns": truth.at_ns,
            "position": truth.position,
            "output_position": truth.output_position,
            "path_us": truth.path_us,
            "trajectory": truth.trajectory,
            "outputs": truth.outputs,
            "inputs": truth.inputs,
        }
        self._file.write(json.dumps(line) + "\n")
        self._file.flush()
