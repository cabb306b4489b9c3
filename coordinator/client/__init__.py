"""What speaks to a running coordinator over its HTTP API: people's scripts, and the command line.

`AsyncClient` is for scripts with an event loop, `Client` for those without, and for notebooks; both
have the same methods (`questions/`). docs/scripts.md shows all of it.
"""

from coordinator.client.async_client import AsyncClient
from coordinator.client.blocking import Client
from coordinator.client.errors import (
    ClientError,
    Closed,
    HomingFailed,
    JogLapsed,
    NobodyThere,
    NotFinished,
    NotUnderstood,
    OtherLoop,
    Refused,
    RunHeld,
    RunNotFinished,
    SurveyEnded,
    Unreachable,
    UpdateFailed,
    WrongInput,
)
from coordinator.programs import Switches
from coordinator.programs.options import PlayOptions

__all__ = [
    "AsyncClient",
    "Client",
    "ClientError",
    "Closed",
    "HomingFailed",
    "JogLapsed",
    "NobodyThere",
    "NotFinished",
    "NotUnderstood",
    "OtherLoop",
    "PlayOptions",
    "Refused",
    "RunHeld",
    "RunNotFinished",
    "SurveyEnded",
    "Switches",
    "Unreachable",
    "UpdateFailed",
    "WrongInput",
]
