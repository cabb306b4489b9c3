"""`unisono conform`: does one joint, whoever built it, keep to protocol/README.md?"""

from pathlib import Path
from typing import Annotated

import typer

from coordinator.cli.common import (
    DEFAULT_ARM,
    EXIT_CODES,
    ArmOption,
    DataOption,
    ExitCode,
    Failure,
    InterfaceOption,
    JsonOption,
    path_of,
)
from coordinator.config.settings import LOOPBACK


def add_to(app: typer.Typer) -> None:
    """Add this command."""
    app.command(epilog=EXIT_CODES)(conform)


def conform(
    data: DataOption,
    host: Annotated[
        str | None,
        typer.Argument(metavar="[HOST]", help="The joint's IPv4 address, or a name that has one."),
    ] = None,
    joint: Annotated[
        str | None,
        typer.Option(
            "--joint",
            metavar="NAME",
            help="Which joint of the arm file it is: its id, its limits.",
            show_default="the only one",
        ),
    ] = None,
    arm: ArmOption = DEFAULT_ARM,
    port: Annotated[
        int | None,
        typer.Option(
            "--port",
            metavar="N",
            min=1,
            max=65535,
            help="Of its stream.",
            show_default="the one that it announces",
        ),
    ] = None,
    interface: InterfaceOption = LOOPBACK,
    only: Annotated[
        list[str] | None,
        typer.Option(
            "--only", metavar="ID", help="Only checks whose id begins so; may be repeated."
        ),
    ] = None,
    moves: Annotated[
        bool, typer.Option("--moves", help="Make the checks that move the motor too.")
    ] = False,
    yes: Annotated[
        bool, typer.Option("--yes", help="With --moves: do not ask whether it may move.")
    ] = False,
    reboot_command: Annotated[
        str,
        typer.Option(
            "--reboot-command",
            metavar="COMMAND",
            help="Restarts the joint; without a shell. Else what a restart forgets is not checked.",
        ),
    ] = "",
    vectors: Annotated[
        Path | None,
        typer.Option(
            "--vectors",
            parser=path_of("--vectors"),
            metavar="PROGRAM",
            help="In place of HOST: hold a program of the joint's maker to the golden vectors.",
        ),
    ] = None,
    as_json: JsonOption = False,
) -> ExitCode:
    """Hold one joint to the joint protocol, check by check, over real sockets.

    It must be nobody's else meanwhile: stop its coordinator first. Without --moves no driver is
    switched on; its configuration is replaced all the same, and a position that it knew is lost.
    With --moves it homes, and turns by a few degrees, slowly, within the limits of the arm file.
    Exit code 0: no check failed, which says nothing of those that were not made.
    """
    from coordinator.cli import conforming

    if (host is None) == (vectors is None):
        raise Failure(ExitCode.WRONG_INPUT, "one of HOST and --vectors must be there")
    if vectors is not None:
        return conforming.ask_vectors(vectors, as_json=as_json)
    assert host is not None
    asked = conforming.Asked(
        host, joint, arm, data, port, interface, tuple(only or ()), moves, yes, reboot_command
    )
    return conforming.check_joint(asked, as_json=as_json)
