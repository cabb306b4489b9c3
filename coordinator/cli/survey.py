"""`unisono survey`: what each joint's link is like, and what to do about it."""

import time
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Final

import typer
from rich import box
from rich.table import Table

from coordinator.cli.common import (
    EXIT_CODES,
    ExitCode,
    Failure,
    JsonOption,
    UrlOption,
    client_at,
    err,
    out,
    path_of,
    show_json,
)
from coordinator.cli.written import require_writable, write_file
from coordinator.codes.survey_word import SurveyPhase
from coordinator.config.settings import DEFAULT_URL
from coordinator.health.link_survey import LEAST_FOR_S, MOST_FOR_S, USUAL_FOR_S

if TYPE_CHECKING:
    from coordinator.cli.watch import Interrupts, Progress
    from coordinator.client import Client
    from coordinator.client.values import (
        JointSurvey,
        LinkFigures,
        MulticastFigures,
        Stability,
        SurveySnapshot,
    )

LOOK_S: Final = 0.1
"""Between two looks at how it goes."""


def add_to(app: typer.Typer) -> None:
    """Add the command."""
    app.command(epilog=EXIT_CODES)(survey)


def survey(
    joints: Annotated[
        list[str] | None, typer.Argument(metavar="[JOINT]...", help="All if none is named.")
    ] = None,
    for_s: Annotated[
        float,
        typer.Option(
            "--for",
            metavar="SECONDS",
            min=LEAST_FOR_S,
            max=MOST_FOR_S,
            help="How long exchanges are counted and timed.",
        ),
    ] = USUAL_FOR_S,
    picture: Annotated[
        Path | None,
        typer.Option(
            "--plot", parser=path_of("--plot"), metavar="FILE.svg", help="Draw the round trips."
        ),
    ] = None,
    url: UrlOption = DEFAULT_URL,
    as_json: JsonOption = False,
) -> ExitCode:
    """Tell what each joint's link is like, and what to do about it. Ctrl-C cancels.

    Nothing moves meanwhile, and what is to move ends it. Each joint is asked 25 times a second.
    """
    from coordinator.cli.watch import Interrupts, Progress

    require_writable("--plot", picture, ".svg")
    with client_at(url) as client, Interrupts.counted() as pressed:
        begun = client.survey(joints or (), for_s)
        ended = _follow(client, begun, Progress(quiet=as_json), pressed)
        told = client.answers["survey"]
    if not as_json and ended.phase == SurveyPhase.DONE:
        _show(ended)  # first: a disk that takes no picture must not take a minute's figures away
    drawn = _draw(picture, ended)
    if as_json:
        show_json(told | drawn)
    elif drawn:
        out().print(f"{picture} shows the round trips")
    if ended.phase != SurveyPhase.DONE:
        raise Failure(ExitCode.NOT_FINISHED, ended.message)
    return ExitCode.DONE


def _follow(
    client: "Client", survey: "SurveySnapshot", progress: "Progress", pressed: "Interrupts"
) -> "SurveySnapshot":
    """Follow it until it is over; Ctrl-C cancels it."""
    from coordinator.client import Refused

    with progress.shown():
        while survey.phase == SurveyPhase.MEASURING:
            left = f", {survey.left_s:.0f} s left; Ctrl-C cancels"
            progress.tell("measuring", f"{survey.message.removeprefix('measuring')}{left}")
            if pressed.count:
                try:
                    return client.cancel_survey()
                except Refused as refused:  # it ended just before
                    err().print(str(refused))
            time.sleep(LOOK_S)
            survey = client.surveying()
    return survey


def _draw(picture: Path | None, survey: "SurveySnapshot") -> dict[str, str]:
    if picture is None or survey.phase != SurveyPhase.DONE:
        return {}
    from coordinator.pictures.survey import survey_picture

    write_file(picture, survey_picture(survey.results))
    return {"plot": str(picture)}


def _show(survey: "SurveySnapshot") -> None:
    known = [(one, one.figures) for one in survey.results if one.figures is not None]
    if known:
        out().print(_table(known))
        if any(one.ppm is None for _, figures in known for one in _stability(figures)):
            out().print("<: less than that; it is not to be seen over this link's delays")
    for one in survey.results:
        if one.figures is None:
            out().print(one.message)
        else:
            # Where nothing has to be done the sentence says what was not looked for.
            out().print(f"{one.joint}: {one.verdict}" if one.findings else one.message)
            for finding in one.findings:
                out().print(f"  {finding.message}: {finding.advice}")
            if one.multicast is not None and not one.multicast.advice:
                out().print(f"  {one.multicast.message}")


def _table(known: "list[tuple[JointSurvey, LinkFigures]]") -> Table:
    table = Table(box=box.SIMPLE_HEAD)
    table.add_column("")
    for one, _ in known:
        table.add_column(one.joint, justify="right")
    for words, cell in _ROWS:
        table.add_row(words, *(cell(figures) for _, figures in known))
    for words, told in _MULTICAST_ROWS:
        cells = ["not known" if one.multicast is None else told(one.multicast) for one, _ in known]
        table.add_row(words, *cells)
    for over_s in sorted({one.over_s for _, figures in known for one in _stability(figures)}):
        cells = [_steady(figures, over_s) for _, figures in known]
        table.add_row(f"clock, Allan deviation over {over_s} s, ppm", *cells)
    return table


def _ms(time_us: float) -> str:
    return f"{time_us / 1e3:.1f}"


def _ways(figures: "LinkFigures") -> str:
    if figures.forward_longer_us is None or figures.forward_error_us is None:
        return "not known"
    return f"{figures.forward_longer_us / 1e3:+.1f} ± {_ms(figures.forward_error_us)}"


def _rate(figures: "LinkFigures") -> str:
    clock = figures.clock
    return "not known" if clock is None else f"{clock.rate_ppm:+.1f} ± {clock.rate_error_ppm:.1f}"


def _stability(figures: "LinkFigures") -> "tuple[Stability, ...]":
    return figures.clock.stability if figures.clock is not None else ()


def _steady(figures: "LinkFigures", over_s: int) -> str:
    for one in _stability(figures):
        if one.over_s == over_s and one.hidden_ppm is not None:
            if one.ppm is None:
                return f"< {one.hidden_ppm:.3g}"
            return f"{one.ppm:.3g} ± {one.hidden_ppm:.2g}"
    return "not known"


def _took(figures: "MulticastFigures") -> str:
    if figures.p50_us is None or figures.p95_us is None:
        return "not known"
    return f"{_ms(figures.p50_us)}, {_ms(figures.p95_us)}"


_MULTICAST_ROWS: Final[tuple[tuple[str, Callable[["MulticastFigures"], str]], ...]] = (
    ("asked by multicast, not answered", lambda one: f"{one.asked}, {one.lost}"),
    ("answered p50, p95, ms", _took),
)
_ROWS: Final[tuple[tuple[str, Callable[["LinkFigures"], str]], ...]] = (
    ("exchanges", lambda one: f"{one.sent}"),
    ("lost", lambda one: f"{one.lost}"),
    ("lost, % (95 % interval)", lambda one: f"{one.loss_low:.2%} to {one.loss_high:.2%}"),
    ("lost in a row, at most", lambda one: f"{one.longest_loss}"),
    ("round trip p50, ms", lambda one: _ms(one.rtt_p50_us)),
    ("round trip p95, ms", lambda one: _ms(one.rtt_p95_us)),
    ("round trip p99, ms", lambda one: _ms(one.rtt_p99_us)),
    ("round trip, longest, ms", lambda one: _ms(one.rtt_max_us)),
    ("start set ahead at worst, ms", lambda one: f"{one.start_delay_us / 1e3:.0f}"),
    ("way there longer than back, ms", _ways),
    ("clock rate, ppm", _rate),
)
