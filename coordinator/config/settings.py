"""Where things are unless the command line says otherwise."""

import os
import re
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from protocol.constants import SERVICE_TYPE

DEFAULT_PORT: Final = 8750
"""Of the API and the page."""
DEFAULT_URL: Final = f"http://127.0.0.1:{DEFAULT_PORT}"
API_PREFIX: Final = "/api/v1"
"""Of every route of the API."""
LOOPBACK: Final = "127.0.0.1"
DEMO_ARM: Final = Path(__file__).parents[1] / "demo" / "arm.toml"
DEMO_PROGRAM: Final = Path(__file__).parents[1] / "demo" / "prick_out_tray.nc"


def default_data_folder() -> Path:
    """The user's own data folder by the XDG Base Directory Specification."""
    base = os.environ.get("XDG_DATA_HOME", "")
    # The specification says to ignore a relative path there.
    root = Path(base) if os.path.isabs(base) else Path.home() / ".local" / "share"
    return root / "unisono"


SERVICE_VARIABLE: Final = "UNISONO_SERVICE"
_SERVICE_NAME: Final = re.compile(r"(?=.{1,15}$)(?=.*[a-z])[a-z0-9]+(-[a-z0-9]+)*")
"""RFC 6335 §5.1, in lower case."""


class SettingsError(ValueError):
    """What the environment asks for cannot be; the text is one sentence."""


def service_type() -> str:
    """The DNS-SD service by which joints are found; another name keeps arms apart that are tested.

    Raises SettingsError where the environment asks for a name that no service can have.
    """
    name = os.environ.get(SERVICE_VARIABLE, "")
    if not name:
        return SERVICE_TYPE
    if not _SERVICE_NAME.fullmatch(name):
        raise SettingsError(
            f"{SERVICE_VARIABLE} is {name!r}, but must be 1 to 15 letters, digits and hyphens"
        )
    return f"_{name}._tcp.local."


DATABASE_VARIABLE: Final = "UNISONO_DATABASE"
SECRETS: Final = frozenset({"password", "sslpassword", "oauth_client_secret"})
"""Parameters of a database's URL that libpq itself hides from view
(postgresql.org/docs/current/libpq-connect.html#LIBPQ-PQCONNDEFAULTS)."""


def database_url(option: str | None) -> str | None:
    """URL of the database, by the command line or else the environment; None for the own file.

    Raises SettingsError where the command line, which others can read, has a password.
    """
    if option is None:
        return os.environ.get(DATABASE_VARIABLE) or None
    from sqlalchemy import make_url  # as whoever opens it reads it
    from sqlalchemy.exc import ArgumentError

    try:
        url = make_url(option)
        has_password = bool(url.password) or not SECRETS.isdisjoint(url.query)
    except (ArgumentError, ValueError):  # whoever opens it says what is wrong with it
        has_password = False
    if has_password:
        raise SettingsError(
            "--database has a password, and everybody here can read a command line: give the URL "
            f"by {DATABASE_VARIABLE} instead, or the password by libpq's password file"
        )
    return option


@dataclass(frozen=True, slots=True)
class ServiceSettings:
    """What the coordinator needs to know before it starts."""

    arm: Path
    data: Path
    interface: str
    """IPv4 address of the interface on which the joints are."""
    port: int
    """Of the API. 0 takes a free one."""
    listen: str = LOOPBACK
    """IPv4 address of the API. On any other than loopback it is HTTPS and asks for a token."""
    names: tuple[str, ...] = ()
    """What this host is called beside that address."""
    database: str | None = field(default=None, repr=False)
    """URL of one at a PostgreSQL server; None for the file in the data folder. It may have a
    password."""
