"""The command `serve` while it runs: a coordinator and its API."""

import asyncio
import contextlib
import gc
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

import uvicorn

from coordinator.api import create_app
from coordinator.api.authentication import Authentication
from coordinator.api.certificate import SERVER_FILE, own_certificate
from coordinator.api.served_at import ON_LOOPBACK, ServedAt
from coordinator.api.server import server_config
from coordinator.api.tokens import Role, Tokens
from coordinator.cli.common import ExitCode, Failure
from coordinator.cli.host import asked_to_end, listening, run_alone
from coordinator.config.arm import Arm
from coordinator.config.data_folder import locked, read_key
from coordinator.config.settings import LOOPBACK, ServiceSettings
from coordinator.service import running


@dataclass(frozen=True, slots=True)
class Served:
    """Where the API answers, and what whoever comes there must know."""

    url: str
    fingerprint: str | None = None
    """SHA-256 of the certificate, None on loopback, where there is none."""
    tokens: dict[Role, str] = field(default_factory=dict)
    """New ones, to be shown this once."""


def serve(settings: ServiceSettings, arm: Arm, ready: Callable[[Served], None]) -> ExitCode:
    """Coordinate an arm until asked to end; `ready` gets the API's address."""
    read_key(settings.data)  # a folder without one is not to be locked
    with locked(settings.data):
        return run_alone(_serve(settings, arm, ready))


async def _serve(settings: ServiceSettings, arm: Arm, ready: Callable[[Served], None]) -> ExitCode:
    ended = asked_to_end()
    with listening(settings.listen, settings.port) as listener:
        served_at, served = _place(settings, listener.getsockname()[1])
        async with running(arm, settings.data, settings.interface, settings.database) as service:
            app = create_app(service, served_at)
            certificate = settings.data / SERVER_FILE if served.fingerprint else None
            server = _ApiServer(server_config(app, certificate))
            serving = asyncio.create_task(server.serve(sockets=[listener]))
            telling = asyncio.create_task(app.state.feed.run())
            # A full collection pauses everything for tens of ms: leave out what stays for good.
            gc.collect()
            gc.freeze()
            ready(served)
            endings = [
                asyncio.create_task(ended.wait()),
                asyncio.create_task(service.failed.wait()),
            ]
            await asyncio.wait([serving, *endings], return_when=asyncio.FIRST_COMPLETED)
            for task in endings:
                task.cancel()
            failed = service.failed.is_set()
        # The API answers until all is at rest, so that whoever watches sees it.
        server.should_exit = True
        await serving
        telling.cancel()
        await app.state.rehearsals.close()
    if failed:
        raise Failure(ExitCode.NOT_FINISHED, "the coordinator broke; its log above says how")
    return ExitCode.DONE


class _ApiServer(uvicorn.Server):
    """A server that leaves signals to whoever runs it."""

    @contextlib.contextmanager
    def capture_signals(self) -> Iterator[None]:
        """Capture none."""
        yield


def _place(settings: ServiceSettings, port: int) -> tuple[ServedAt, Served]:
    """What the API asks where it is served; elsewhere than on loopback, certificate and tokens."""
    address = settings.listen
    if address == LOOPBACK:
        return ON_LOOPBACK, Served(f"http://{address}:{port}")
    fingerprint = own_certificate(settings.data, address, settings.names)
    tokens = Tokens(settings.data)
    new = tokens.make(tokens.missing())
    hosts = (address, *(name.lower() for name in settings.names))
    return (
        ServedAt("https", hosts, Authentication(tokens)),
        Served(f"https://{address}:{port}", fingerprint, new),
    )
