"""The command that lists warnings and says that one was seen."""

from datetime import datetime
from typing import Annotated, Any

import typer

from coordinator.cli.common import (
    EXIT_CODES,
    ExitCode,
    JsonOption,
    UrlOption,
    client_at,
    out,
    show_json,
)


def add_to(app: typer.Typer) -> None:
    """Add the command."""
    app.command(epilog=EXIT_CODES)(warnings)


def warnings(
    seen: Annotated[
        int | None,
        typer.Option(metavar="ID", min=1, max=2**31 - 1, help="Say that you have seen this one."),
    ] = None,
    url: UrlOption = "",
    as_json: JsonOption = False,
) -> ExitCode:
    """List the warnings that stand: what is so, since when, and what to do.

    One that you have seen stays until it ends. It changes nothing in the arm.
    """
    with client_at(url) as client:
        found = client.warnings() if seen is None else [client.see(seen)]
    if as_json:
        show_json({"warnings": found})
    elif seen is not None:
        out().print(f"seen: {found[0]['message']}")
    else:
        for one in found:
            out().print(f"{_head(one)}\n  {one['message']}\n  What to do: {one['advice']}.")
        if not found:
            out().print("no warnings")
    return ExitCode.DONE


def _head(warning: dict[str, Any]) -> str:
    since = datetime.fromisoformat(warning["since_utc"]).astimezone()
    seen = ", seen" if warning["acknowledged"] else ""
    return (
        f"{warning['id']}: {warning['level']}: {warning['joint']}, {warning['code']} since "
        f"{since:%Y-%m-%d %H:%M:%S}{seen}"
    )
