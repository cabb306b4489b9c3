"""Options that several commands of `unisono accuracy` have."""

from pathlib import Path
from typing import Annotated

import typer

from coordinator.cli.common import path_of

ReadingsArgument = Annotated[
    Path, typer.Argument(metavar="FILE.csv", parser=path_of("FILE.csv"), help="The readings.")
]
PlotOption = Annotated[
    Path | None,
    typer.Option("--plot", parser=path_of("--plot"), metavar="FILE.svg", help="Draw the readings."),
]
ArmFileOption = Annotated[
    Path | None,
    typer.Option(
        "--arm",
        parser=path_of("--arm"),
        metavar="FILE",
        help="The arm file that is to have what was found: the difference is shown, and a yes "
        "asked for.",
    ),
]
RadiusOption = Annotated[
    float | None,
    typer.Option(
        "--radius-mm",
        metavar="MM",
        min=1.0,
        max=10_000.0,
        help="How far from the axis a length was read, for deviation_mm and deviation_um.",
    ),
]
JointArgument = Annotated[str, typer.Argument(metavar="JOINT")]
