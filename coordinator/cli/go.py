"""`unisono go`: to a named place, or back to where a run would go on, while a key is held."""

from typing import TYPE_CHECKING, Annotated

import typer

from coordinator.cli.common import EXIT_CODES, ExitCode, Failure, UrlOption, client_at, out
from coordinator.cli.remote import beware
from coordinator.client.questions.kept import plain
from coordinator.config.settings import DEFAULT_URL
from coordinator.programs.size import MAX_PROGRAM_BYTES

if TYPE_CHECKING:
    from coordinator.client import Client


def add_to(app: typer.Typer) -> None:
    """Add this command."""
    app.command(epilog=EXIT_CODES)(go)


def go(
    place: Annotated[
        str | None,
        typer.Argument(metavar="[PLACE]", help="A pose of the arm file, else a waypoint."),
    ] = None,
    back: Annotated[
        bool, typer.Option("--back", help="To where the newest run, or that of --run, would go on.")
    ] = False,
    run: Annotated[int | None, typer.Option("--run", min=1, help="With --back: that run.")] = None,
    from_line: Annotated[
        int | None,
        typer.Option(
            "--from-line",
            min=1,
            max=MAX_PROGRAM_BYTES,
            help="With --back: where this line begins, not the one in which the run was last.",
        ),
    ] = None,
    url: UrlOption = DEFAULT_URL,
) -> ExitCode:
    """Turn joints to a named place, or back to a run, slowly, while g is held; let go, they stop.

    Each joint goes its own way: look first what stands between. Needs a terminal, which does not
    tell that a key is let go: the arm stops 0.2 s after it repeated last. Exit code 0 means that
    the arm is there.
    """
    from coordinator.cli.held_way import go_while_held  # with a WebSocket

    if (place is None) != back:
        raise Failure(ExitCode.WRONG_INPUT, "one of PLACE and --back must be there")
    if not back and (run is not None or from_line is not None):
        raise Failure(ExitCode.WRONG_INPUT, "--run and --from-line belong to --back")
    line, switches = None, ""
    with client_at(url) as client:
        beware(client.arm())
        if place is None:
            title, wish, angles_deg, line, switches = _back(client, run, from_line)
        else:
            title, wish, angles_deg = _found(client, place)
    if angles_deg:
        go_while_held(url, title, wish, angles_deg)
    if line is not None:
        out().print(
            f"'unisono run FILE --from-line {line}{switches}' goes on from there without a pause; "
            "but joints with an approach side first turn beyond their place and back, and it pauses"
        )
    return ExitCode.DONE


def _found(client: "Client", name: str) -> tuple[str, dict[str, object], dict[str, float]]:
    """Which place that is. A pose goes first, so that nothing that is taught can hide `park`."""
    poses = client.arm().poses
    for pose, angles_deg in poses.items():
        if plain(pose) == plain(name):
            return f"pose {pose}", {"pose": pose}, angles_deg
    waypoints = client.taught().waypoints
    for waypoint in waypoints:
        if plain(waypoint.name) == plain(name):
            return f"waypoint {waypoint.name}", {"waypoint": waypoint.id}, dict(waypoint.angles_deg)
    known = ", ".join([*poses, *(waypoint.name for waypoint in waypoints)])
    raise Failure(ExitCode.WRONG_INPUT, f"there is no place {name!r}; there are {known}")


def _back(
    client: "Client", run: int | None, from_line: int | None
) -> tuple[str, dict[str, object], dict[str, float], int | None, str]:
    """Where the run would go on, the line that begins there, and its switches as options."""
    number = client.last_run() if run is None else run
    if number is None:
        raise Failure(ExitCode.REFUSED, "nothing was played yet: there is no way back")
    way, report = client.way_back(number, from_line), client.report(number)
    switches = " --block-delete" if report.block_delete else ""
    switches += " --optional-stop" if report.optional_stop else ""
    if not way.angles_deg:
        line = "its beginning" if way.line is None else f"line {way.line}"
        out().print(
            f"run {number} of {way.name} goes on at {line}, which begins from wherever the arm is"
        )
        return "", {}, {}, way.line, switches
    title = f"line {way.line} of {way.name}"
    return title, {"angles_deg": way.angles_deg}, way.angles_deg, way.line, switches
