"""The command that tells what a joint was over time, and what it has done in all."""

import re
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date, datetime
from pathlib import Path
from typing import Annotated, Final

import typer
from rich import box
from rich.table import Table

from coordinator.answers.joint_history import JointHistory, JointWear, Readings
from coordinator.cli.common import (
    EXIT_CODES,
    ExitCode,
    Failure,
    JsonOption,
    UrlOption,
    client_at,
    out,
    show_json,
)
from coordinator.cli.hop_wear import hop_lines
from coordinator.cli.remote import of_joint
from coordinator.cli.written import require_writable, write_file
from coordinator.client import WrongInput
from coordinator.config.settings import DEFAULT_URL

HOUR_S: Final = 3_600
MINUTE_S: Final = 60
WRITTEN_S: Final = 10
"""How often a coordinator writes what its joints are (`records/joint_history.py`)."""
_WHEN: Final = "An instant, such as 2026-05-01T10:00; this computer's time unless it has its zone."


def add_to(app: typer.Typer) -> None:
    """Add the command."""
    app.command(epilog=EXIT_CODES)(history)


def history(
    joint: Annotated[str, typer.Argument(metavar="JOINT")],
    begin: Annotated[
        str | None,
        typer.Option("--from", metavar="WHEN", help=f"{_WHEN} An hour before --to without."),
    ] = None,
    end: Annotated[str | None, typer.Option("--to", metavar="WHEN", help="Now without.")] = None,
    points: Annotated[
        int,
        typer.Option(
            metavar="N",
            min=2,
            max=2000,
            help="In at most so many stretches, 2 to 2000: lines of --csv, members of --json.",
        ),
    ] = 400,
    csv: Annotated[
        Path | None,
        typer.Option("--csv", metavar="FILE.csv", help="Write it there as a table (RFC 4180)."),
    ] = None,
    hop_begin: Annotated[
        str | None,
        typer.Option(
            "--hop-since",
            metavar="WHEN",
            help="Tell how its hop wears by what it was from then on, such as of a repair; by the "
            "last 365 days without.",
        ),
    ] = None,
    url: UrlOption = DEFAULT_URL,
    as_json: JsonOption = False,
) -> ExitCode:
    """Tell what a joint was over time: temperature, supply, link, clock and the hop by which it
    gets its supply, what it did then and in all, and how that hop wears.

    Every least and greatest value is of all that was read, once a second, however long the time is;
    it may begin a little before --from and end after --to, by a stretch at most.
    """
    since, until = _instant("--from", begin), _instant("--to", end)
    hop_since = _instant("--hop-since", hop_begin)
    require_writable("--csv", csv, ".csv")
    if csv is not None and hop_begin is not None:
        raise WrongInput("--csv has nothing of how a hop wears: leave --hop-since out")
    with client_at(url) as client, of_joint(client, joint):
        if csv is not None:
            with _as_options("from", "to"):
                table = client.joint_history_csv(joint, since, until, points)
            write_file(csv, table)
            if as_json:
                show_json({"joint": joint, "csv": str(csv)})
            else:
                out().print(f"{csv} is the history of {joint}")
            return ExitCode.DONE
        with _as_options("from", "to"):
            found = client.joint_history(joint, since, until, points)
        with _as_options("hop-since"):
            wear = client.joint_wear(joint, hop_since)
        if as_json:
            show_json({**client.answers["joint-history"], "wear": client.answers["joint-wear"]})
            return ExitCode.DONE
    if wear.since_utc is None:
        out().print(
            f"nothing is recorded of {joint} yet: what it is and does is written every "
            f"{WRITTEN_S} s while it is heard"
        )
        return ExitCode.DONE
    out().print(_table(found) if found.start_s else f"nothing is known of {joint} in that time")
    out().print(_in_all(wear, wear.since_utc))
    for line in hop_lines(wear, _today()):
        out().print(line)
    return ExitCode.DONE


@contextmanager
def _as_options(begin: str, end: str = "") -> Iterator[None]:
    """What the coordinator says of an instant's place in a request is told of the option."""
    names = {"from": begin, "to": end}
    try:
        yield
    except WrongInput as error:
        told = re.sub(r"\bquery/(from|to): ", lambda one: f"--{names[one[1]]} ", str(error))
        raise WrongInput(told, error.mistakes, error.code) from error


def _instant(option: str, text: str | None) -> datetime | None:
    if text is None:
        return None
    try:
        return datetime.fromisoformat(text).astimezone()
    except (ValueError, OverflowError) as error:
        raise Failure(
            ExitCode.WRONG_INPUT,
            f"{option} is {text!r}, but must be an instant such as 2026-05-01T10:00",
        ) from error


def _table(history: JointHistory) -> Table:
    begin, end = (_local(utc) for utc in (history.from_utc, history.to_utc))
    table = Table(
        title=f"{history.joint} from {begin} to {end}", title_justify="left", box=box.SIMPLE_HEAD
    )
    table.add_column("")
    for name in ("least", "mean", "greatest"):
        table.add_column(name, justify="right")
    for words, readings, factor, digits in (
        ("temperature, °C", history.temperature_c, 1.0, 1),
        ("supply, V", history.supply_v, 1.0, 2),
        ("round trip p99, ms", history.rtt_p99_us, 1e-3, 1),
        ("exchanges lost, %", history.loss, 100.0, 1),
        ("clock uncertainty, ms", history.clock_uncertainty_us, 1e-3, 2),
        ("hop, fitted, Ω", history.hop_ohm, 1.0, 3),
        ("position error, °", history.position_error_deg, 1.0, 4),
    ):
        table.add_row(words, *_spread(readings, factor, digits))
    table.add_section()
    for words, value in (
        ("heard", _lasting(sum(history.on_s))),
        ("turned", _lasting(sum(history.moving_s))),
        ("starts", f"{sum(history.starts)}"),
        ("reversals", f"{sum(history.reversals)}"),
        ("distance, °", f"{sum(history.distance_deg):.0f}"),
    ):
        table.add_row(words, "", value, "")
    return table


def _spread(readings: Readings, factor: float, digits: int) -> tuple[str, str, str]:
    """Least, mean and greatest of all that was read; dashes where nothing is known."""
    least = [one for one in readings.min if one is not None]
    greatest = [one for one in readings.max if one is not None]
    if not least or not greatest:
        return "–", "–", "–"
    weighed = [
        mean * count
        for mean, count in zip(readings.mean, readings.count, strict=True)
        if mean is not None
    ]
    values = min(least), sum(weighed) / sum(readings.count), max(greatest)
    a, b, c = (f"{value * factor:.{digits}f}" for value in values)
    return a, b, c


def _in_all(wear: JointWear, since_utc: str) -> str:
    since = f"{datetime.fromisoformat(since_utc).astimezone():%Y-%m-%d %H:%M}"
    return (
        f"in all, since the hour that began at {since}: heard for {_lasting(wear.on_s)}, turned "
        f"for {_lasting(wear.moving_s)}, {wear.starts} starts, {wear.reversals} reversals, "
        f"{wear.distance_deg:.0f}°"
    )


def _lasting(seconds: float) -> str:
    """How long something took in all, short or long."""
    if seconds < MINUTE_S:
        return f"{seconds:.0f} s"
    if seconds < HOUR_S:
        return f"{seconds / MINUTE_S:.1f} min"
    return f"{seconds / HOUR_S:.1f} h"


def _today() -> date:
    from coordinator.store.utc import utc_now  # it takes a while to import

    return datetime.fromisoformat(utc_now()).date()


def _local(utc: str) -> str:
    return f"{datetime.fromisoformat(utc).astimezone():%Y-%m-%d %H:%M:%S}"
