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
from functools import partial
from pathlib import Path
from random import Random
from typing import IO, Final

from zeroconf import DNSQuestionType, IPVersion, ServiceInfo
from zeroconf.asyncio import AsyncServiceInfo, AsyncZeroconf

from protocol.constants import SERVICE_TYPE
from protocol.discovery import Announcement
from simulator.joint.images import ImageStore
from simulator.network import Link, Profile
from simulator.port import JointPort, world_us
from simulator.settings import JointSettings
from simulator.unit import JointUnit, WorldTruth, share_supply

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
    update_key: bytes | None = None,
) -> AsyncIterator[list[JointPort]]:
    """Serve joints, base to tool, on the interface with this IPv4 address, until left.

    `key` is the arm's; `update_key` the public half of the one that signs firmware, without which
    they take none. What they keep of images ends with this.

    The joints have announced themselves when this is entered, and say goodbye when it is left.
    Raises OSError when an address or the truth log cannot be had.
    """
    async with contextlib.AsyncExitStack() as stack:
        on_truth: Callable[[str, WorldTruth], None] = _forget
        if truth is not None:
            on_truth = _TruthLog(stack.enter_context(truth.open("a", encoding="utf-8"))).write
        ports = []
        for settings in joints:
            images = ImageStore(update_key) if update_key is not None else None
            boot = secrets.randbits(32) or 1
            unit = JointUnit(settings, key, world_us(), boot=boot, images=images)
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
        renewals = stack.enter_context(_Renewals(zeroconf, interface, service_type))
        for port in ports:
            port.on_restart = partial(renewals.renew, port)
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
    port.instance = await _free_name(zeroconf, f"{settings.name}-{settings.id}", service_type)
    # The name was probed for already.
    return await zeroconf.async_register_service(
        _service(port, interface, service_type), cooperating_responders=True
    )


def _service(port: JointPort, interface: str, service_type: str) -> ServiceInfo:
    """A joint's records, as it is now."""
    settings, firmware = port.unit.settings, port.unit.joint.identity.firmware
    announcement = Announcement(settings.id, firmware, port.udp_port)
    return ServiceInfo(
        service_type,
        f"{port.instance}.{service_type}",
        addresses=[socket.inet_aton(interface)],
        port=port.stream_port,
        properties=announcement.txt(),
        # A host name of its own: two joints with one id must not share an address record.
        server=f"{settings.id}-{port.udp_port}.local.",
    )


class _Renewals:
    """Joints that restarted announce themselves anew: their firmware may be another one."""

    def __init__(self, zeroconf: AsyncZeroconf, interface: str, service_type: str) -> None:
        self._zeroconf = zeroconf
        self._interface = interface
        self._service_type = service_type
        self._tasks: set[asyncio.Task[None]] = set()

    def __enter__(self) -> "_Renewals":
        return self

    def __exit__(self, *_: object) -> None:
        for task in self._tasks:
            task.cancel()

    def renew(self, port: JointPort) -> None:
        """Announce it as it is now."""
        task = asyncio.create_task(self._renew(port))
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)

    async def _renew(self, port: JointPort) -> None:
        service = _service(port, self._interface, self._service_type)
        await (await self._zeroconf.async_update_service(service))


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
