"""The command that lists warnings and acknowledges one."""

from datetime import datetime
from typing import TYPE_CHECKING, Annotated

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
from coordinator.config.settings import DEFAULT_URL

if TYPE_CHECKING:
    from coordinator.client.values import WarningSnapshot


def add_to(app: typer.Typer) -> None:
    """Add the command."""
    app.command(epilog=EXIT_CODES)(warnings)


def warnings(
    acknowledge: Annotated[
        int | None,
        typer.Option(metavar="ID", min=1, max=2**31 - 1, help="Acknowledge this one."),
    ] = None,
    url: UrlOption = DEFAULT_URL,
    as_json: JsonOption = False,
) -> ExitCode:
    """List the warnings that stand: what is so, since when, and what to do.

    One that is acknowledged stays until it ends. It changes nothing in the arm.
    """
    with client_at(url) as client:
        if acknowledge is not None:
            known = client.acknowledge(acknowledge)
            if as_json:
                show_json({"warnings": [client.answers["acknowledge"]]})
            else:
                out().print(f"acknowledged: {known.message}")
            return ExitCode.DONE
        found = client.warnings()
    if as_json:
        show_json({"warnings": client.answers["warnings"]["warnings"]})
    else:
        for one in found:
            out().print(f"{_head(one)}\n  {one.message}\n  What to do: {one.advice}.")
        if not found:
            out().print("no warnings")
    return ExitCode.DONE


def _head(warning: "WarningSnapshot") -> str:
    since = datetime.fromisoformat(warning.since_utc).astimezone()
    known = ", acknowledged" if warning.acknowledged else ""
    return (
        f"{warning.id}: {warning.level}: {warning.joint}, {warning.code} since "
        f"{since:%Y-%m-%d %H:%M:%S}{known}"
    )
