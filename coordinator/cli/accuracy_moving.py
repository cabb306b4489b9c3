"""Those commands of `unisono accuracy` that move a joint, and the one that tells of its homings."""

from typing import Annotated, Final, Literal

import typer

from coordinator.cli.accuracy_options import (
    ArmFileOption,
    JointArgument,
    PlotOption,
    RadiusOption,
    ReadingsArgument,
)
from coordinator.cli.common import EXIT_CODES, ExitCode, JsonOption, UrlOption
from coordinator.config.settings import DEFAULT_URL

MOST_HOMINGS: Final = 30
TestWord = Literal["repeatability", "reversal", "ratio"]


def add_to(accuracy: typer.Typer) -> None:
    """Add these commands."""
    for command in (show_edges, show_turn, show_speed):
        accuracy.command(command.__name__.removeprefix("show_"), epilog=EXIT_CODES)(command)
    # So that an angle below zero is an angle and no option.
    numbered = {"ignore_unknown_options": True}
    accuracy.command("guide", epilog=EXIT_CODES, context_settings=numbered)(show_guide)


def show_edges(
    joint: JointArgument,
    homings: Annotated[
        int,
        typer.Option(
            "--home",
            metavar="N",
            min=0,
            max=MOST_HOMINGS,
            help="Home it so many times before, and judge by these: it moves each time.",
        ),
    ] = 0,
    arm: ArmFileOption = None,
    yes: Annotated[bool, typer.Option("--yes", help="Home it, and write, without asking.")] = False,
    picture: PlotOption = None,
    url: UrlOption = DEFAULT_URL,
    as_json: JsonOption = False,
) -> ExitCode:
    """How much play a joint has at most, by its home edges, which each homing passes both ways.

    For where there is no gauge: the home sensor's own hysteresis is in it, so it is an upper bound
    and no reversal value. It judges by the newest 5 homings, or as many as --home makes, by the
    controller and the figures that the joint has now. With --arm it becomes the joint's
    reversal_error_deg, marked as a bound.
    """
    from coordinator.cli import edge_reversal

    asked = edge_reversal.Asked(
        joint=joint, homings=homings, arm=arm, yes=yes, picture=picture, url=url
    )
    return edge_reversal.show(asked, as_json=as_json)


def show_turn(
    joint: JointArgument,
    turns: Annotated[
        int, typer.Option("--turns", metavar="N", min=3, max=20, help="To and fro.")
    ] = 4,
    arm: ArmFileOption = None,
    yes: Annotated[bool, typer.Option("--yes", help="Turn it, and write, without asking.")] = False,
    picture: PlotOption = None,
    url: UrlOption = DEFAULT_URL,
    as_json: JsonOption = False,
) -> ExitCode:
    """Which gear a joint has that turns without end: by whole turns, from its home edge to the same
    edge again.

    It moves, after a yes: whole turns to and fro, no faster than it homes, and is homed after each.
    With a wrong gear it stops at its edge for steps that it takes for lost, which is expected here.
    """
    from coordinator.cli import turning

    asked = turning.Asked(joint=joint, turns=turns, arm=arm, yes=yes, picture=picture, url=url)
    return turning.show(asked, as_json=as_json)


def show_speed(
    joint: JointArgument,
    first: Annotated[
        float | None,
        typer.Option(
            "--from", metavar="DEG_S", min=0.01, help="The slowest.", show_default="as it homes"
        ),
    ] = None,
    most: Annotated[
        float | None,
        typer.Option(
            "--to", metavar="DEG_S", min=0.01, help="The fastest.", show_default="velocity_deg_s"
        ),
    ] = None,
    repeats: Annotated[
        int, typer.Option("--repeats", metavar="N", min=1, max=20, help="At each, to and fro.")
    ] = 2,
    arm: ArmFileOption = None,
    yes: Annotated[bool, typer.Option("--yes", help="Move it, and write, without asking.")] = False,
    picture: PlotOption = None,
    url: UrlOption = DEFAULT_URL,
    as_json: JsonOption = False,
) -> ExitCode:
    """The highest speed at which a joint loses no step, searched from below.

    It moves, after a yes: from its home to and fro, faster and faster, homed after each way, until
    steps are lost or its velocity_deg_s is reached. With --arm that becomes a limit 20 % below.
    """
    from coordinator.cli import speed

    asked = speed.Asked(
        joint=joint, first_deg_s=first, most_deg_s=most, repeats=repeats, arm=arm, yes=yes,
        picture=picture, url=url,
    )  # fmt: skip
    return speed.show(asked, as_json=as_json)


def show_guide(
    test: Annotated[
        TestWord, typer.Argument(metavar="TEST", help="repeatability, reversal or ratio.")
    ],
    joint: JointArgument,
    file: ReadingsArgument,
    targets: Annotated[
        list[float],
        typer.Option("--at", metavar="DEG", help="An angle to be visited; may be repeated."),
    ],
    repeats: Annotated[
        int | None,
        typer.Option(
            "--repeats",
            metavar="N",
            min=1,
            max=100,
            help="How often each is visited, from each side that counts.",
            show_default="30, 5 or 2",
        ),
    ] = None,
    unit: Annotated[
        str, typer.Option("--unit", metavar="UNIT", help="deg, arcmin, arcsec, mm or um.")
    ] = "deg",
    radius_mm: RadiusOption = None,
    arm: ArmFileOption = None,
    picture: PlotOption = None,
    url: UrlOption = DEFAULT_URL,
) -> ExitCode:
    """Lead through a test: to each angle while g is held, and there you type what you read.

    Each reading is in FILE.csv at once. Broken off, it goes on there by the same command. In the
    end the figure is told, as by the command of that test. Needs a terminal.
    """
    from coordinator.accuracy.guide import Guided
    from coordinator.cli import guide

    asked = guide.Asked(
        Guided(test), joint, file, targets, repeats, unit, radius_mm, arm, picture, url
    )
    return guide.show(asked)
