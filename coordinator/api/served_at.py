"""Where the API is reached, and so what it asks of those who come."""

from dataclasses import dataclass
from typing import Final

from coordinator.api.authentication import Authentication
from coordinator.config.settings import LOOPBACK


@dataclass(frozen=True, slots=True)
class ServedAt:
    """An address that is served."""

    scheme: str
    hosts: tuple[str, ...]
    """What `Host` may name, without the port, in lower case."""
    access: Authentication | None
    """Tells by a token who may do what; None on loopback, where everybody may do everything."""


ON_LOOPBACK: Final = ServedAt("http", ("localhost", LOOPBACK, "[::1]"), None)
