"""`unisono accuracy`: figures of a joint from an operator's own readings, and from its home edges.

What makes them takes a while to import, which the other commands need not wait for
(`measuring.py`).
"""

from pathlib import Path
from typing import Annotated

import typer

from coordinator.cli import accuracy_moving
from coordinator.cli.accuracy_options import PlotOption, RadiusOption, ReadingsArgument
from coordinator.cli.common import EXIT_CODES, ExitCode, JsonOption, path_of


def add_to(app: typer.Typer) -> None:
    """Add these commands."""
    accuracy = typer.Typer(
        rich_markup_mode=None,
        help="What your readings of a joint say, a dial gauge's or a camera's, typed into a table; "
        "and what its home sensor tells where there is no gauge.",
        epilog=EXIT_CODES,
    )
    for command in (show_repeatability, show_reversal, show_ratio):
        accuracy.command(command.__name__.removeprefix("show_"), epilog=EXIT_CODES)(command)
    accuracy_moving.add_to(accuracy)
    app.add_typer(accuracy, name="accuracy")


def show_repeatability(
    file: ReadingsArgument, picture: PlotOption = None, as_json: JsonOption = False
) -> ExitCode:
    """Repeatability of a pose that was gone to again and again (ISO 9283).

    FILE.csv has one row a reading, the deviation from the commanded pose. Its head is angle_deg, or
    x_mm and, if they were read, y_mm and z_mm; in place of deg may stand arcmin or arcsec, in place
    of mm um. It needs 10 readings; the standard asks for 30.
    """
    from coordinator.cli import measuring

    return measuring.show_repeatability(file, picture, as_json=as_json)


def show_reversal(
    file: ReadingsArgument,
    radius_mm: RadiusOption = None,
    joint: Annotated[
        str | None, typer.Option("--joint", metavar="JOINT", help="Whose readings they are.")
    ] = None,
    arm: Annotated[
        Path | None,
        typer.Option(
            "--arm",
            parser=path_of("--arm"),
            metavar="FILE",
            help="The arm file whose reversal_error_deg of that joint is to be what was found: the "
            "difference is shown, and a yes asked for.",
        ),
    ] = None,
    yes: Annotated[bool, typer.Option("--yes", help="Write it without asking.")] = False,
    picture: PlotOption = None,
    as_json: JsonOption = False,
) -> ExitCode:
    """Reversal value of a joint: how far apart it stops that comes from below and from above
    (ISO 230-2).

    FILE.csv has the columns target_deg, from (below or above) and deviation_deg: what was reached
    less the target. In place of deg may stand arcmin or arcsec; or um or mm, of a gauge so far from
    the axis as --radius-mm says. Each target needs 5 readings from each side.
    """
    from coordinator.cli import measuring

    asked = measuring.Asked(file, radius_mm, joint, arm, yes, picture)
    return measuring.show_reversal(asked, as_json=as_json)


def show_ratio(
    file: ReadingsArgument,
    joint: Annotated[
        str, typer.Option("--joint", metavar="JOINT", help="Whose readings they are.")
    ],
    arm: Annotated[
        Path,
        typer.Option(
            "--arm",
            parser=path_of("--arm"),
            metavar="FILE",
            help="The arm file by which it was commanded. Where its gear_ratio or direction are "
            "others than what was found, the difference is shown, and a yes asked for.",
        ),
    ],
    yes: Annotated[
        bool, typer.Option("--yes", help="Write the ratio without asking; never the direction.")
    ] = False,
    picture: PlotOption = None,
    as_json: JsonOption = False,
) -> ExitCode:
    """Which gear a joint has and which way it turns: commanded angles beside those that were read.

    FILE.csv has the columns commanded_deg and read_deg (or read_arcmin, read_arcsec), of a
    protractor or a level, from wherever its scale begins. It needs 6 readings at 3 or more angles
    that are 20 degrees apart or more, each come to from the same side.
    """
    from coordinator.cli import gear

    return gear.show_ratio(gear.Asked(file, joint, arm, yes, picture), as_json=as_json)
