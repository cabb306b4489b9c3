"""The command that lists warnings with their alarms, acknowledges one and shelves one."""

from datetime import datetime
from math import isfinite
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
from coordinator.client.errors import WrongInput
from coordinator.codes.alarm_state import AlarmState
from coordinator.config.settings import DEFAULT_URL
from coordinator.health.shelf_time import SHELF_LEAST_S, SHELF_MOST_S, SHELF_USUAL_S

if TYPE_CHECKING:
    from coordinator.client import Client
    from coordinator.client.values import AlarmsSnapshot, ShelfSnapshot, WarningSnapshot


def add_to(app: typer.Typer) -> None:
    """Add the command."""
    app.command(epilog=EXIT_CODES)(warnings)


def warnings(
    acknowledge: Annotated[
        int | None,
        typer.Option(metavar="ID", min=1, max=2**31 - 1, help="Acknowledge this one."),
    ] = None,
    shelve: Annotated[
        int | None,
        typer.Option(
            metavar="ID", min=1, max=2**31 - 1, help="Put the sign of this one aside for a time."
        ),
    ] = None,
    for_s: Annotated[
        float | None,
        typer.Option(
            "--for",
            metavar="SECONDS",
            min=SHELF_LEAST_S,
            max=SHELF_MOST_S,
            help="For how long it is shelved.",
            show_default=f"{SHELF_USUAL_S}",
        ),
    ] = None,
    unshelve: Annotated[
        int | None,
        typer.Option(metavar="ID", min=1, max=2**31 - 1, help="Take this one off the shelf."),
    ] = None,
    url: UrlOption = DEFAULT_URL,
    as_json: JsonOption = False,
) -> ExitCode:
    """List the warnings that stand: what is so, since when, why, and what to do.

    One that is acknowledged or shelved stays until it ends. Neither changes anything in the arm.
    """
    with client_at(url) as client:
        asked = [one for one in (acknowledge, shelve, unshelve) if one is not None]
        if len(asked) > 1:
            raise WrongInput("name one of --acknowledge, --shelve and --unshelve at a time")
        if for_s is not None and (shelve is None or not isfinite(for_s)):
            raise WrongInput(
                "--for says how long --shelve puts one aside: name it"
                if shelve is None
                else f"--for is {for_s}, but must be a number of seconds"
            )
        if acknowledge is not None:
            known = client.acknowledge(acknowledge)
            if as_json:
                show_json({"warnings": [client.answers["acknowledge"]]})
            else:
                is_shelved = known.state is AlarmState.SHELVED
                said = "shelved, and not acknowledged" if is_shelved else "acknowledged"
                out().print(f"{said}: {known.message}")
        elif shelve is not None:
            _tell_shelf(
                client, "shelve", client.shelve(shelve, for_s or SHELF_USUAL_S), as_json=as_json
            )
        elif unshelve is not None:
            _tell_shelf(client, "unshelve", client.unshelve(unshelve), as_json=as_json)
        else:
            found, alarms = client.warnings(), client.alarms()
            if as_json:
                show_json(client.answers["warnings"])
            else:
                _tell(found, alarms)
    return ExitCode.DONE


def _tell_shelf(client: "Client", kind: str, shelf: "ShelfSnapshot", *, as_json: bool) -> None:
    if as_json:
        show_json({"shelved": client.answers[kind]})
    elif kind == "shelve":
        out().print(f"shelved: {_shelf(shelf)}")
    else:
        out().print(f"off the shelf: {shelf.joint}, {shelf.code}")


def _tell(found: "tuple[WarningSnapshot, ...]", alarms: "AlarmsSnapshot") -> None:
    """What there is, a flood and what is shelved first: nobody must take it for less."""
    flood = alarms.flood
    if flood is not None:
        origins = ", ".join(f"{count} of {origin}" for origin, count in flood.by_origin.items())
        out().print(
            f"flood: {flood.count} alarms began within ten minutes ({origins}); here they stand "
            "by where they come from: look first at what came first"
        )
        most = list(flood.by_origin)
        found = tuple(sorted(found, key=lambda one: _place(one.origin, most)))
    if alarms.shelved:
        out().print(f"{len(alarms.shelved)} shelved, which give no sign:")
        for shelf in alarms.shelved:
            out().print(f"  {_shelf(shelf)}")
    for one in found:
        out().print(f"{_head(one)}\n  {one.message}\n  What to do: {one.advice}.")
        if one.cause:
            out().print(f"  Likely cause: {one.cause}. If nobody acts: {one.consequence}.")
    for one in alarms.returned:
        out().print(f"{_head(one)}\n  Over, but nobody has acknowledged it: {one.message}")
    if not found and not alarms.returned:
        out().print("no warnings")


def _place(origin: str, most: list[str]) -> int:
    return most.index(origin) if origin in most else len(most)


def _shelf(shelf: "ShelfSnapshot") -> str:
    so = "it is so" if shelf.stands else "it is not so now"
    return (
        f"{shelf.id}: {shelf.joint}, {shelf.code} by {shelf.who} until {_time(shelf.until_utc)}; "
        f"{so}"
    )


def _head(warning: "WarningSnapshot") -> str:
    first = ", the first of those that came together" if warning.first_out else ""
    return (
        f"{warning.id}: {warning.level}, {warning.priority} priority: {warning.joint}, "
        f"{warning.code} since {_time(warning.since_utc)}, {warning.state}{first}"
    )


def _time(utc: str) -> str:
    return f"{datetime.fromisoformat(utc).astimezone():%Y-%m-%d %H:%M:%S}"
