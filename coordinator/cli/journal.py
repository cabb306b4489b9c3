"""The command that tells what happened and was commanded."""

from datetime import datetime
from typing import Annotated

import typer

from coordinator.answers.records import Event
from coordinator.cli.common import (
    EXIT_CODES,
    ExitCode,
    JsonOption,
    UrlOption,
    client_at,
    out,
    show_json,
)
from coordinator.codes.level import Level
from coordinator.config.settings import DEFAULT_URL


def add_to(app: typer.Typer) -> None:
    """Add the command."""
    app.command(epilog=EXIT_CODES)(journal)


def journal(
    limit: Annotated[
        int, typer.Option(metavar="N", min=1, max=500, help="The last so many, 1 to 500.")
    ] = 20,
    details: Annotated[
        bool, typer.Option("--details", help="Also the parts of what has a line of its own.")
    ] = False,
    url: UrlOption = DEFAULT_URL,
    as_json: JsonOption = False,
) -> ExitCode:
    """Tell what happened and who commanded what, one line for one thing, oldest first."""
    with client_at(url) as client:
        found = client.events(limit, details=details)[::-1]
    if as_json:
        show_json({"events": client.answers["events"]["events"][::-1]})
    else:
        for one in found:
            out().print(_line(one))
        if not found:
            out().print("nothing has happened yet")
    return ExitCode.DONE


def _line(event: Event) -> str:
    """When, what, and who commanded it. What is no plain information is marked by its level."""
    at = datetime.fromisoformat(event.utc).astimezone()
    level = "" if event.level == Level.INFO else f"{event.level}: "
    who = f", by {event.who}" if event.who else ""
    indent = "    " if event.detail else ""
    return f"{at:%Y-%m-%d %H:%M:%S}  {indent}{level}{event.message}{who}"
