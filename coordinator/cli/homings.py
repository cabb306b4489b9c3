"""The command that tells how well a joint finds its home again."""

from datetime import datetime
from pathlib import Path
from typing import Annotated, Final

import typer
from rich import box
from rich.table import Table

from coordinator.answers.joint_homings import JointHomings
from coordinator.cli.common import (
    EXIT_CODES,
    ExitCode,
    Failure,
    JsonOption,
    UrlOption,
    client_at,
    out,
    path_of,
    show_json,
)
from coordinator.cli.remote import of_joint
from coordinator.cli.written import require_writable, write_file
from coordinator.config.settings import DEFAULT_URL
from coordinator.health.home_drift import HomeFigure, HomePlace
from coordinator.health.home_wandered import beyond_words
from coordinator.pictures.homings import homings_picture

SHOWN: Final = 10
"""Homings in the table; JSON has all."""


def add_to(app: typer.Typer) -> None:
    """Add the command."""
    app.command(epilog=EXIT_CODES)(homings)


def homings(
    joint: Annotated[str, typer.Argument(metavar="JOINT")],
    picture: Annotated[
        Path | None,
        typer.Option(
            "--plot",
            parser=path_of("--plot"),
            metavar="FILE.svg",
            help="Draw where homings found home.",
        ),
    ] = None,
    url: UrlOption = DEFAULT_URL,
    as_json: JsonOption = False,
) -> ExitCode:
    """Tell how well a joint finds its home again: how far it wandered, how much its edges scatter,
    hysteresis, and how far home goes with temperature.

    Homings are compared where the joint was still homed as it began; a joint that restarted says
    nothing of those before. The shift is by its motor's steps: whether steps were lost or the
    sensor moved, look at the joint.
    """
    require_writable("--plot", picture, ".svg")
    with client_at(url) as client:
        with of_joint(client, joint):
            told = client.joint_homings(joint)
        if picture is not None:
            if not told.homings:
                raise Failure(ExitCode.NOT_FINISHED, f"no homing of {joint} is known to draw")
            write_file(picture, homings_picture(told, _figures(told)))
        if as_json:
            drawn = {} if picture is None else {"plot": str(picture)}
            show_json({**client.answers["joint-homings"], **drawn})
            return ExitCode.DONE
    if not told.homings:
        out().print(f"no homing of {joint} is known")
        return ExitCode.DONE
    out().print(_table(told))
    if told.wandered_deg is not None:
        out().print(
            f"{joint} DOES NOT COUNT AS HOMED: home was "
            f"{beyond_words(told.wandered_deg, told.shift_limit_deg)}: steps were lost, or its "
            f"home sensor moved. Look at it, then: unisono home --accept {joint}"
        )
    for line in _figures(told):
        out().print(line)
    if picture is not None:
        out().print(f"{picture} shows where homings of {joint} found home")
    return ExitCode.DONE


def _table(told: JointHomings) -> Table:
    shown = told.homings[-SHOWN:]
    more = "" if len(shown) == len(told.homings) else f", the last {len(shown)}"
    count = f"{len(told.homings)} homing{'' if len(told.homings) == 1 else 's'}"
    table = Table(title=f"{told.joint}: {count}{more}", title_justify="left", box=box.SIMPLE_HEAD)
    table.add_column("homing", justify="right")
    table.add_column("ended")
    for name in ("°C", "shift °", "since reference °", "hysteresis °"):
        table.add_column(name, justify="right")
    for one in shown:
        table.add_row(*_row(one))
    return table


def _row(one: HomePlace) -> tuple[str, ...]:
    since = (
        "reference"
        if one.reference == one.homing
        else (f"{one.since_reference_deg:+.4f} (of {one.reference})")
    )
    return (
        str(one.homing),
        "–"
        if one.utc is None
        else f"{datetime.fromisoformat(one.utc).astimezone():%Y-%m-%d %H:%M}",
        "–" if one.temperature_c is None else f"{one.temperature_c:.1f}",
        "–" if one.shift_deg is None else f"{one.shift_deg:+.4f}",
        since,
        "–" if one.hysteresis_deg is None else f"{one.hysteresis_deg:.4f}",
    )


def _figures(told: JointHomings) -> list[str]:
    return [
        _figure("rising edge, standard deviation", told.rising_deviation_deg, "°"),
        _figure("falling edge, standard deviation", told.falling_deviation_deg, "°"),
        _figure("hysteresis, with the joint's play", told.hysteresis_deg, "°"),
        _figure("drift of home", told.drift_deg_per_c, "°/°C"),
    ]


def _figure(name: str, figure: HomeFigure, unit: str) -> str:
    if figure.value is None or figure.uncertainty is None:
        return f"{name}: not told: {figure.why}"
    if figure.value == 0.0 and figure.uncertainty == 0.0:
        return f"{name}: less than one count, by which edges are told, in {figure.homings} homings"
    return (
        f"{name}: {figure.value:.4g} {unit}, standard uncertainty {figure.uncertainty:.2g} {unit} "
        f"from {figure.homings} homings"
    )
