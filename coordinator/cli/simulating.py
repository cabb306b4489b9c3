"""The command `simulate` while it runs: software joints on real sockets."""

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from coordinator.cli.common import ExitCode
from coordinator.cli.host import asked_to_end, run_alone
from coordinator.config.data_folder import read_key
from coordinator.config.settings import service_type
from simulator.network import PROFILES
from simulator.port import JointPort
from simulator.server import joints_served
from simulator.settings import JointSettings


@dataclass(frozen=True, slots=True)
class SimulateSettings:
    """What `simulate` needs to know."""

    joints: tuple[JointSettings, ...]
    data: Path
    interface: str
    network: str
    seed: int
    truth: Path | None
    service_type: str = field(default_factory=service_type)


def simulate(settings: SimulateSettings, ready: Callable[[list[JointPort]], None]) -> ExitCode:
    """Serve software joints until asked to end."""
    return run_alone(_simulate(settings, ready))


async def _simulate(
    settings: SimulateSettings, ready: Callable[[list[JointPort]], None]
) -> ExitCode:
    ended = asked_to_end()
    async with joints_served(
        settings.joints,
        read_key(settings.data),
        interface=settings.interface,
        profile=PROFILES[settings.network],
        seed=settings.seed,
        truth=settings.truth,
        service_type=settings.service_type,
    ) as ports:
        ready(ports)
        await ended.wait()
    return ExitCode.DONE
