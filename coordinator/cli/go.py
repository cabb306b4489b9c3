"""`unisono go`: to a named place, while a key is held."""

from typing import TYPE_CHECKING, Annotated

import typer

from coordinator.cli.common import EXIT_CODES, ExitCode, Failure, UrlOption, client_at
from coordinator.cli.remote import beware
from coordinator.config.settings import DEFAULT_URL

if TYPE_CHECKING:
    from coordinator.client import Client


def add_to(app: typer.Typer) -> None:
    """Add this command."""
    app.command(epilog=EXIT_CODES)(go)


def go(
    place: Annotated[
        str, typer.Argument(metavar="PLACE", help="A pose of the arm file, else a waypoint.")
    ],
    url: UrlOption = DEFAULT_URL,
) -> ExitCode:
    """Turn all joints to a named place, slowly, while g is held; let go, they stop.

    Each joint goes its own way: look first what stands between. Needs a terminal, which does not
    tell that a key is let go: the arm stops 0.2 s after it repeated last. Exit code 0 means that
    the arm is there.
    """
    from coordinator.cli.held_way import go_while_held  # with a WebSocket

    with client_at(url) as client:
        beware(client.arm())
        title, wish, angles_deg = _found(client, place)
    go_while_held(url, title, wish, angles_deg)
    return ExitCode.DONE


def _found(client: "Client", name: str) -> tuple[str, dict[str, object], dict[str, float]]:
    """Which place that is. A pose goes first, so that nothing that is taught can hide `park`."""
    poses = client.arm().poses
    if name in poses:
        return f"pose {name}", {"pose": name}, poses[name]
    waypoints = client.taught().waypoints
    for waypoint in waypoints:
        if waypoint.name == name:
            return f"waypoint {name}", {"waypoint": waypoint.id}, dict(waypoint.angles_deg)
    known = ", ".join([*poses, *(waypoint.name for waypoint in waypoints)])
    raise Failure(ExitCode.WRONG_INPUT, f"there is no place {name!r}; there are {known}")
