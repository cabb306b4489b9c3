"""The command line of `unisono`: its subcommands, and what becomes of a mistake."""

import sys
from collections.abc import Sequence
from importlib import metadata
from typing import Annotated

import typer

from coordinator.cli import (
    accuracy,
    arm_file,
    backup,
    bring_up,
    conform,
    go,
    history,
    homings,
    jog,
    joint,
    journal,
    local,
    queue,
    rehearse,
    remote,
    survey,
    teach,
    warnings,
)
from coordinator.cli.common import (
    CAUTION,
    ENVIRONMENT,
    EXIT_CODES,
    ExitCode,
    Failure,
    give_up_on_pipe,
    json_promised,
    out,
)
from coordinator.cli.failing import EXPECTED, explain, tell, wants_json

INTERRUPTED = 130
"""What typer makes of Ctrl-C where nothing counts it."""
HELP = "Make a set of network joint controllers act as one arm.\n\n" + CAUTION


def make_app() -> typer.Typer:
    """The command with all its subcommands."""
    app = typer.Typer(
        name="unisono",
        help=HELP,
        epilog=f"{EXIT_CODES}\n\n{ENVIRONMENT}",
        add_completion=False,
        rich_markup_mode=None,
        pretty_exceptions_enable=False,
        context_settings={"help_option_names": ["-h", "--help"]},
    )
    app.callback()(_options)
    local.add_to(app)
    rehearse.add_to(app)
    conform.add_to(app)
    remote.add_to(app)
    jog.add_to(app)
    go.add_to(app)
    teach.add_to(app)
    queue.add_to(app)
    warnings.add_to(app)
    journal.add_to(app)
    history.add_to(app)
    homings.add_to(app)
    survey.add_to(app)
    bring_up.add_to(app)
    arm_file.add_to(app)
    joint.add_to(app)
    accuracy.add_to(app)
    backup.add_to(app)
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
    """Carry out one command line; mistakes are told in one line each, and in JSON if it asks."""
    code = ExitCode.NOT_FINISHED
    with json_promised():
        try:
            failure = _failure_of(arguments)
            if failure is None:
                return ExitCode.DONE
            code = failure.code
            tell(failure, as_json=wants_json(arguments))
        except OSError:  # whoever reads went away, or the disk behind it is full
            give_up_on_pipe()
    return code


def _failure_of(arguments: Sequence[str]) -> Failure | None:
    """What went wrong with one command line, None if it did what it was asked."""
    try:
        code = make_app()(list(arguments) or ["--help"], prog_name="unisono", standalone_mode=False)
        sys.stdout.flush()
    except KeyboardInterrupt:
        code = INTERRUPTED
    except BrokenPipeError:
        raise
    except EXPECTED as error:
        return explain(error)
    if code == INTERRUPTED:
        return Failure(ExitCode.NOT_FINISHED, "interrupted")
    return Failure(ExitCode(code)) if code else None
