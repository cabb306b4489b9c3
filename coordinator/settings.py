"""Where things are unless the command line says otherwise."""

import os
from dataclasses import dataclass
from pathlib import Path
from typing import Final

DEFAULT_PORT: Final = 8750
"""Of the API and the page."""
DEFAULT_URL: Final = f"http://127.0.0.1:{DEFAULT_PORT}"
API_PREFIX: Final = "/api/v1"
"""Of every route of the API."""
LOOPBACK: Final = "127.0.0.1"
DEMO_ARM: Final = Path(__file__).parent / "demo" / "arm.toml"
DEMO_PROGRAM: Final = Path(__file__).parent / "demo" / "prick_out_tray.nc"


def default_data_folder() -> Path:
    """The user's own data folder by the XDG Base Directory Specification."""
    base = os.environ.get("XDG_DATA_HOME", "")
    # The specification says to ignore a relative path there.
    root = Path(base) if os.path.isabs(base) else Path.home() / ".local" / "share"
    return root / "unisono"


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
