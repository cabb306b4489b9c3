"""Commands that ask a running coordinator."""

import contextlib
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, Any, Final, Literal

import typer

from coordinator.cli import show
from coordinator.cli.common import (
    EXIT_CODES,
    ExitCode,
    Failure,
    JsonOption,
    UrlOption,
    caution,
    client_at,
    out,
    read_program,
    show_json,
)
from coordinator.cli.watch import (
    RESTING,
    Interrupts,
    Progress,
    exit_code_of,
    follow_homing,
    follow_rest,
    follow_run,
    heard,
    restless,
    rests,
    unconfirmed,
)
from coordinator.client import Client, ClientError, WrongInput
from coordinator.stop_words import StopWord

REST_S: Final = 15.0
"""Longest that a hold or stop takes: silence of 1.5 s, lease and ramp, and some to spare."""


def add_to(app: typer.Typer) -> None:
    """Add these commands."""
    for command in (joints, home, run, hold, resume, stop, override, control, report):
        app.command(epilog=EXIT_CODES)(command)


def joints(url: UrlOption = "", as_json: JsonOption = False) -> ExitCode:
    """Show the joints: state, temperature, link and clock bound."""
    with client_at(url) as client:
        arm = client.arm()
    if as_json:
        show_json(arm)
    else:
        out().print(show.joints_table(arm))
        for remark in show.joint_remarks(arm):
            out().print(remark)
    return ExitCode.DONE


def home(
    names: Annotated[
        list[str] | None, typer.Argument(metavar="[JOINT]...", help="All, if none is named.")
    ] = None,
    url: UrlOption = "",
    as_json: JsonOption = False,
) -> ExitCode:
    """Home joints one after another, in the arm file's order. Ctrl-C stops."""
    with client_at(url) as client, Interrupts.counted() as pressed:
        _require_known(names or [], client.arm())
        caution(as_json=as_json)
        number = client.home(names or [])
        with giving_back(client):
            result = follow_homing(client, number, Progress(quiet=as_json), pressed)
    if as_json:
        show_json(result)
    if result["state"] != "done":
        raise Failure(ExitCode.NOT_FINISHED, f"homing failed: {result['message']}")
    if not as_json:
        out().print(f"homed: {' '.join(result['asked'])}")
    return ExitCode.DONE


@contextlib.contextmanager
def giving_back(client: Client) -> Iterator[None]:
    """Give control back in the end, however it ends: others need not wait for a terminal then."""
    try:
        yield
    finally:
        # Who cannot be told now notices by itself after a while that nobody is there.
        with contextlib.suppress(ClientError):
            client.release_control()


@contextlib.contextmanager
def _in_passing(client: Client) -> Iterator[None]:
    """Leave control as it was before a command that does not stay to see what becomes of it.

    What this user had is kept: `run` in another terminal may be following what it plays. One that
    begins just in between loses it; it goes on, and what it commands next takes control anew.
    """
    before = client.control()
    with giving_back(client) if before["holder"] != before["you"] else contextlib.nullcontext():
        yield


def _require_known(names: list[str], arm: dict[str, Any]) -> None:
    """Raise WrongInput for a name that no joint has, before a caution is printed."""
    known = [joint["name"] for joint in arm["joints"]]
    for name in names:
        if name not in known:
            raise WrongInput(f"there is no joint {name!r}; this arm has {' '.join(known)}")


def run(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="The program.")],
    url: UrlOption = "",
    as_json: JsonOption = False,
) -> ExitCode:
    """Play a program and show how it goes. Ctrl-C asks for a hold, twice for a stop.

    A pause of the program (M0) is waited out: 'resume' in another terminal goes on.
    """
    text = read_program(file)
    with client_at(url) as client, Interrupts.counted() as pressed:
        number = play(client, file.name, text, str(file))
        with giving_back(client):
            caution(as_json=as_json)  # the joints are only being loaded
            return follow(client, number, pressed, as_json=as_json)


def play(client: Client, name: str, text: str, place: str) -> int:
    """Play a program; its run's number. `place` is for its mistakes."""
    try:
        return client.play(name, text)
    except WrongInput as error:
        if not error.errors:
            raise
        raise Failure(ExitCode.WRONG_INPUT, *show.mistakes(place, error.errors)) from error


def follow(client: Client, number: int, pressed: Interrupts, *, as_json: bool) -> ExitCode:
    """Follow a run and show its report.

    Ctrl-C that came before the run had its number holds it at once.
    """
    state = follow_run(client, number, Progress(quiet=as_json), pressed)
    result = client.report(number)
    _show_report(result, as_json=as_json)
    if state["phase"] in ("held", "paused"):
        why = f": {state['message']}" if state["message"] else ""
        raise Failure(
            ExitCode.NOT_FINISHED, f"run {number} is {state['phase']}{why}; {show.way_on(state)}"
        )
    code = exit_code_of(result["outcome"])
    if code is not ExitCode.DONE:
        raise Failure(code, f"run {number} was {result['outcome']}: {result['message']}")
    return code


def hold(url: UrlOption = "", as_json: JsonOption = False) -> ExitCode:
    """Let the arm come to rest.

    A run rests on its path, so that 'resume' goes on; a homing or jog ends.
    At a pause of the program (M0) there is nothing to hold, and it is refused.
    """
    with client_at(url) as client:
        client.hold()
        # Who fell silent is not waited for, but named.
        follow_rest(client, rests, REST_S)
        arm = client.arm()
        state = client.run(arm["run"]["number"]) if arm["run"] else None
    if as_json:
        show_json({"phase": arm["phase"], "run": state})
    astray = {name: f"not known to rest: {why}" for name, why in restless(arm).items()}
    if arm["phase"] not in RESTING:
        astray = {"the arm": f"still {arm['phase']} after {REST_S:g} s"} | astray
    elif not as_json and (state or not astray):
        out().print(f"the run is held; {show.way_on(state)}" if state else "nothing moves")
    if astray:
        raise Failure(ExitCode.NOT_FINISHED, *(f"{who}: {why}" for who, why in astray.items()))
    return ExitCode.DONE


def resume(url: UrlOption = "", as_json: JsonOption = False) -> ExitCode:
    """Go on after a hold or a programmed pause.

    Control is left as it was: whoever watches may command what goes on.
    """
    with client_at(url) as client:
        with _in_passing(client):
            client.resume()
        arm = client.arm()
    if as_json:
        show_json({"phase": arm["phase"], "run": arm["run"]})
    else:
        out().print("the run goes on")
    return ExitCode.DONE


def stop(
    level: Annotated[
        StopWord,
        typer.Option(
            help="stop: brake and keep holding; stop-and-release: then drivers off; release: "
            "drivers off at once, and a raised arm may fall."
        ),
    ] = "stop",
    url: UrlOption = "",
    as_json: JsonOption = False,
) -> ExitCode:
    """Stop all joints and end the run. This is not a safety-rated emergency stop.

    Exit code 0 means that every joint has confirmed it; any other joint is named, and may move.
    """
    with client_at(url) as client:
        client.stop(level)
        # Who was never heard is not waited for, but named all the same.
        follow_rest(client, lambda arm: not unconfirmed(arm, level).keys() & heard(arm), REST_S)
        arm = client.arm()
    astray = unconfirmed(arm, level)
    stopped = [joint["name"] for joint in arm["joints"] if joint["name"] not in astray]
    if as_json:
        show_json({"phase": arm["phase"], "stopped": stopped, "unconfirmed": astray})
    elif stopped:
        out().print(f"stopped: {' '.join(stopped)}")
    if astray:
        sentences = [f"{name}: stop not confirmed: {why}" for name, why in astray.items()]
        beware = "what has not confirmed may still move: use the emergency stop that cuts the power"
        raise Failure(ExitCode.NOT_FINISHED, *sentences, beware)
    return ExitCode.DONE


def override(
    percent: Annotated[
        float, typer.Argument(metavar="PERCENT", min=5.0, max=100.0, help="5 to 100.")
    ],
    url: UrlOption = "",
    as_json: JsonOption = False,
) -> ExitCode:
    """Set the speed of the run in per cent of what the program asks.

    Control is left as it was.
    """
    with client_at(url) as client:
        with _in_passing(client):
            client.override(percent)
        arm = client.arm()
    if as_json:
        show_json({"phase": arm["phase"], "run": arm["run"]})
    else:
        out().print(f"{percent:g} % is asked for")
    return ExitCode.DONE


def control(
    what: Annotated[
        Literal["show", "take", "release"],
        typer.Argument(help="take holds what moves for somebody else."),
    ] = "show",
    url: UrlOption = "",
    as_json: JsonOption = False,
) -> ExitCode:
    """Show who commands the arm's motion, take it over, or give it back.

    All terminals of one user on one computer count as one. Hold and stop need no control.
    """
    with client_at(url) as client:
        ask = {
            "show": client.control,
            "take": client.take_control,
            "release": client.release_control,
        }
        result = ask[what]()
    if as_json:
        show_json(result)
    elif result["holder"] is None:
        out().print("nobody has control")
    elif result["holder"] == result["you"]:
        out().print("you have control")
    else:
        out().print(f"{result['name']} has control")
    return ExitCode.DONE


def report(
    number: Annotated[
        int | None,
        typer.Argument(metavar="[RUN]", min=1, max=2**31 - 1, help="The last, if none is named."),
    ] = None,
    url: UrlOption = "",
    as_json: JsonOption = False,
) -> ExitCode:
    """Show what a run was: its starts with their proof, holds and end."""
    with client_at(url) as client:
        if number is None:
            number = client.last_run()
            if number is None:
                raise Failure(ExitCode.WRONG_INPUT, "no program has been played yet")
        result = client.report(number)
    _show_report(result, as_json=as_json)
    return ExitCode.DONE


def _show_report(result: dict[str, Any], *, as_json: bool) -> None:
    if as_json:
        show_json(result)
        return
    try:
        table, remarks = show.report_table(result), show.report_remarks(result)
    except (LookupError, TypeError, ValueError, AttributeError) as error:
        run = result["run"]
        raise Failure(
            ExitCode.WRONG_INPUT,
            f"the report of run {run} lacks what belongs in it ({error!r}): its file was changed, "
            f"or is of another version; 'unisono report {run} --json' prints it as it is",
        ) from error
    out().print(table)
    for remark in remarks:
        out().print(remark)
