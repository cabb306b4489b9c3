"""What it costs: the coordinator's processor time at 25 Hz, exchanges with one joint per second."""

import asyncio
import socket
import time
from dataclasses import dataclass

from coordinator.core.events import Resume, Stop
from coordinator.service import Service
from protocol import ntp
from tests.bench.on_sockets import homed, play, run, until
from tests.bench.software import LOOPBACK, Bench, software_joints

WATCH_S = 6.0
EXCHANGES = 5_000
TIMEOUT_S = 10.0
LONG_DEG = 120
LONG_S = 60


@dataclass(frozen=True, slots=True)
class Load:
    """What the coordinator took in one condition."""

    rate_hz: float
    """Drives per joint and second that were really sent."""
    cpu: float
    """Processor time per time, 1 for one core."""


def coordinator_loads(joints: int) -> dict[str, Load]:
    """The coordinator's processor time with so many joints linked, by what they do."""
    with software_joints(joints, "none", 1) as bench:
        return run(_loads(bench))


async def _loads(bench: Bench) -> dict[str, Load]:
    async with homed(bench) as service:
        idle = await _watch(service)
        # A programmed pause keeps the run, and so the rate, without moving anything; behind it
        # comes a move that takes longer than anybody watches.
        targets = " ".join(f"{word}{LONG_DEG - 160}" for word in bench.arm.words)
        number = await play(service, "long", f"M0\nG93 G1 F{60 / LONG_S:g} {targets}\nM2\n")
        await until(lambda: _phase(service) == "paused", "the pause")
        paused = await _watch(service)
        service.command(Resume())
        await until(lambda: _phase(service) == "moving", "the move")
        moving = await _watch(service)
        assert _phase(service) == "moving", await service.runs.report(number)
        service.command(Stop())
        return {"at rest": idle, "paused in a run": paused, "moving": moving}


async def _watch(service: Service) -> Load:
    before, cpu_s, began_s = _drives(service), time.process_time(), time.monotonic()
    await asyncio.sleep(WATCH_S)
    passed_s = time.monotonic() - began_s
    cpu = (time.process_time() - cpu_s) / passed_s
    return Load((_drives(service) - before) / passed_s, cpu)


def _phase(service: Service) -> str:
    return str(service.snapshot().phase)


def _drives(service: Service) -> float:
    """Drives sent so far, per joint: the sequence counts them, and no report shows it."""
    links = service._core.links
    return sum(link.orders.sequence for link in links) / len(links)


def exchanges_per_s(at_once: int) -> float:
    """Bare NTP exchanges per second with one software joint, so many under way at once."""
    with software_joints(1, "none", 1) as bench:
        return _exchange(bench.udp_ports[0], at_once)


def _exchange(port: int, at_once: int) -> float:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as client:
        client.connect((LOOPBACK, port))
        client.settimeout(TIMEOUT_S)
        began_s = time.monotonic()
        for k in range(at_once):
            client.send(ntp.encode_request(k + 1))
        for k in range(EXCHANGES):
            client.recv(512)
            client.send(ntp.encode_request(at_once + k + 1))
        return EXCHANGES / (time.monotonic() - began_s)
