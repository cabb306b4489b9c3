"""The command `unisono`: it puts the parts together, and is the only one to know the simulator."""

import sys
from collections.abc import Sequence
from importlib import metadata
from typing import Annotated

import typer

from coordinator.cli import local, rehearse, remote, warnings
from coordinator.cli.common import (
    CAUTION,
    EXIT_CODES,
    EXPECTED,
    ExitCode,
    Failure,
    complain,
    explain,
    give_up_on_pipe,
    out,
)

INTERRUPTED = 130
"""What typer makes of Ctrl-C where nothing counts it."""
HELP = "Make a set of network joint controllers act as one arm.\n\n" + CAUTION


def make_app() -> typer.Typer:
    """The command with all its subcommands."""
    app = typer.Typer(
        name="unisono",
        help=HELP,
        epilog=EXIT_CODES,
        add_completion=False,
        rich_markup_mode=None,
        pretty_exceptions_enable=False,
        context_settings={"help_option_names": ["-h", "--help"]},
    )
    app.callback()(_options)
    local.add_to(app)
    rehearse.add_to(app)
    remote.add_to(app)
    warnings.add_to(app)
    return app


def _tell_version(asked: bool) -> None:
    if asked:
        out().print(f"unisono {metadata.version('unisono')}")
        raise typer.Exit


def _options(
    version: Annotated[
        bool,
        typer.Option(
            "--version", callback=_tell_version, is_eager=True, help="Show the version and exit."
        ),
    ] = False,
) -> None:
    """Asked of the command itself; all else is asked of a subcommand."""


def run(arguments: Sequence[str]) -> ExitCode:
    """Carry out one command line; errors are told in one line each."""
    try:
        code = make_app()(list(arguments) or ["--help"], prog_name="unisono", standalone_mode=False)
        sys.stdout.flush()
        if code == INTERRUPTED:
            raise KeyboardInterrupt
    except KeyboardInterrupt:
        complain(Failure(ExitCode.NOT_FINISHED, "interrupted"))
        return ExitCode.NOT_FINISHED
    except BrokenPipeError:
        give_up_on_pipe()
        return ExitCode.NOT_FINISHED
    except EXPECTED as error:
        failure = explain(error)
        complain(failure)
        return failure.code
    return ExitCode(code or 0)


def main() -> None:
    """Entry point of the command."""
    sys.exit(run(sys.argv[1:]))
