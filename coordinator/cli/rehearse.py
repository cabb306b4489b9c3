"""`unisono rehearse`: play a program on software joints in virtual time, and say what to expect.

What plays takes a while to import, which the other commands need not wait for (`rehearsing.py`).
"""

from pathlib import Path
from typing import Annotated, Final

import typer

from coordinator.cli.common import (
    EXIT_CODES,
    BlockDeleteOption,
    ExitCode,
    JsonOption,
    OptionalStopOption,
    ProgramArgument,
    UrlOption,
    path_of,
)
from coordinator.cli.local import NetworkOption
from coordinator.cli.play_options import LoopsOption
from coordinator.cli.which_arm import ArmChoiceOption
from coordinator.config.settings import DEFAULT_URL

REPETITIONS: Final = 20
MAX_REPETITIONS: Final = 100_000


def add_to(app: typer.Typer) -> None:
    """Add this command."""
    app.command("rehearse", epilog=EXIT_CODES)(rehearse)


def rehearse(
    file: ProgramArgument,
    arm: ArmChoiceOption = None,
    url: UrlOption = DEFAULT_URL,
    network: NetworkOption = "home",
    repetitions: Annotated[
        int,
        typer.Option(
            "--repetitions", metavar="N", min=1, max=MAX_REPETITIONS, help="How many rehearsals."
        ),
    ] = REPETITIONS,
    cluster_at: Annotated[
        str | None,
        typer.Option(
            "--cluster",
            metavar="ADDRESS",
            help="Rehearse on the machines of the dask.distributed scheduler that answers there.",
            show_default="the processors here",
        ),
    ] = None,
    loops: LoopsOption = None,
    block_delete: BlockDeleteOption = False,
    optional_stop: OptionalStopOption = False,
    as_json: JsonOption = False,
    picture: Annotated[
        Path | None,
        typer.Option(
            "--plot", parser=path_of("--plot"), metavar="FILE.svg", help="Draw what was seen."
        ),
    ] = None,
) -> ExitCode:
    """Play a program on software joints many times.

    It begins at the pose park, wherever the arm stands, and nothing real moves. It is as true as
    the arm file and the assumed network are. Without --arm it is for the arm of the coordinator
    that answers, or else for the demo arm; which it was is always said. Ctrl-C ends it with what is
    known by then.
    """
    from coordinator.cli.rehearsing import Asked, rehearse_all
    from coordinator.programs import Switches
    from coordinator.programs.loops import loops_wanted

    switches = Switches(block_delete, optional_stop)
    asked = Asked(
        file, arm, url, network, repetitions, cluster_at, picture, switches, loops_wanted(loops)
    )
    return rehearse_all(asked, as_json=as_json)
