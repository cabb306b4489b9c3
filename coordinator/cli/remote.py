"""Commands that ask a running coordinator."""

import contextlib
import os
import sys
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from coordinator.cli import show
from coordinator.cli.common import (
    EXIT_CODES,
    ExitCode,
    Failure,
    JsonOption,
    ProgramArgument,
    UrlOption,
    caution,
    client_at,
    err,
    out,
    path_of,
    read_program,
    show_json,
)
from coordinator.cli.condition import headline, is_at_rest, not_confirmed_by, unconfirmed
from coordinator.cli.edges import edges_json, edges_s_of, tell_edges
from coordinator.cli.homing_ways import is_blind, lets_go, tell_ways, ways_of
from coordinator.cli.play_options import takes_play_options
from coordinator.cli.show_firmware import firmware_lines
from coordinator.cli.watch import (
    REST_S,
    Interrupts,
    Progress,
    exit_code_of,
    follow_homing,
    follow_rest,
    follow_run,
    is_held,
    is_past_waiting,
    is_stopped,
    rest_of,
    unstopped,
    with_word,
    work_shown,
)
from coordinator.cli.written import require_writable, write_file
from coordinator.client import Client, ClientError, NotUnderstood, Refused, WrongInput
from coordinator.codes.link_word import LinkWord
from coordinator.config.settings import DEFAULT_URL
from coordinator.core.stop_words import StopWord
from coordinator.programs.options import PlayOptions
from coordinator.programs.progress import Tell
from coordinator.programs.size import MAX_LONG_BYTES

if TYPE_CHECKING:
    from coordinator.client.values import ArmSnapshot, ControlAsked, HomingSnapshot, KeptReport
    from coordinator.core.homing_ways import HomingWay


def add_to(app: typer.Typer) -> None:
    """Add these commands."""
    for command in (joints, home, run, hold, resume, stop, output, control):
        app.command(epilog=EXIT_CODES)(command)
    # A number below zero is one that is too low, and no option.
    numbered = app.command(epilog=EXIT_CODES, context_settings={"ignore_unknown_options": True})
    numbered(override)
    numbered(report)


def joints(url: UrlOption = DEFAULT_URL, as_json: JsonOption = False) -> ExitCode:
    """Show what the arm is about, and its joints: state, temperature, link, clock uncertainty, and
    which firmware runs on which board.
    """
    with client_at(url) as client:
        arm = client.arm()
    if as_json:
        show_json(client.answers["arm"])
    else:
        for sentence in unconfirmed(arm):
            out().print(sentence)
        out().print(show.joints_table(arm))
        for line in [*firmware_lines(arm), *show.tool_lines(arm), *show.joint_remarks(arm)]:
            out().print(line)
    return ExitCode.DONE


def home(
    names: Annotated[
        list[str] | None, typer.Argument(metavar="[JOINT]...", help="All, if none is named.")
    ] = None,
    accept: Annotated[
        str | None,
        typer.Option(
            metavar="JOINT",
            help="Home nothing: accept the home of a joint that wandered, once you have looked at "
            "the joint. It counts as homed again, and later homings are compared with this one.",
        ),
    ] = None,
    url: UrlOption = DEFAULT_URL,
    as_json: JsonOption = False,
) -> ExitCode:
    """Home joints one after another, in the arm file's order. Ctrl-C stops.

    Where the angle of one is not known it is told first how each will turn and what it may run
    into; at a terminal each then waits for Enter. Where the arm file has homing_while_held, each
    turns only while h is held, which needs a terminal.
    """
    if accept is not None:
        return _accept_home(accept, names or [], url, as_json=as_json)
    with client_at(url) as client:
        arm = client.arm()
        require_known(names or [], arm)
        beware(arm)
        ways = ways_of(arm, names or [])
        if arm.homing_while_held:
            results = _home_held(client, url, ways, as_json=as_json)
        elif is_blind(ways) and not as_json and sys.stdin.isatty() and out().file.isatty():
            caution(as_json=False)
            results = []
            for way in ways:
                lets_go(way)
                results.append(home_joints(client, [way.joint], as_json=False))
        else:
            if is_blind(ways) and not as_json:
                tell_ways(ways)
            results = [home_joints(client, names or [], as_json=as_json, warn=True)]
    if as_json:
        show_json(client.answers["homing"])
    if wandered := [one for result in results for one in wandered_words(result)]:
        raise Failure(ExitCode.NOT_FINISHED, *wandered)
    if not as_json:
        out().print(f"homed: {' '.join(name for result in results for name in result.asked)}")
    return ExitCode.DONE


def home_joints(
    client: Client,
    names: list[str],
    *,
    as_json: bool,
    warn: bool = False,
    keeps_control: bool = False,
) -> "HomingSnapshot":
    """Home these joints; what was found. Raises Failure where that came to nothing.

    `keeps_control`: whoever asks goes on, and gives control back itself.
    """
    with Interrupts.counted() as pressed:
        number = client.home(names)
        with contextlib.nullcontext() if keeps_control else giving_back(client):
            if warn:
                caution(as_json=as_json)
            result = follow_homing(client, number, Progress(quiet=as_json), pressed)
    if result.state != "done":
        if as_json:
            show_json(client.answers["homing"])
        raise Failure(ExitCode.NOT_FINISHED, f"homing failed: {result.message}")
    return result


def _home_held(
    client: Client, url: str, ways: "list[HomingWay]", *, as_json: bool
) -> "list[HomingSnapshot]":
    from coordinator.cli.held_homing import home_while_held  # with a WebSocket

    results = home_while_held(url, ways, as_json=as_json)
    if as_json:
        client.homing(results[-1].number)
    return results


def wandered_words(result: "HomingSnapshot") -> list[str]:
    """A sentence for each joint that does not count as homed though it is."""
    return [
        f"{joint} does not count as homed: its home was found {found.wandered_deg:+.3g}° from "
        "where it was, beyond the limit; steps were lost, or its home sensor moved. Look at it, "
        f"then: unisono home --accept {joint}"
        for joint, found in result.joints.items()
        if found.wandered_deg is not None
    ]


def _accept_home(joint: str, names: list[str], url: str, *, as_json: bool) -> ExitCode:
    if names:
        raise Failure(
            ExitCode.WRONG_INPUT, f"--accept homes nothing, but {' '.join(names)} is named to home"
        )
    with client_at(url) as client:
        with _in_passing(client), of_joint(client, joint):
            client.accept_home(joint)
        if as_json:
            show_json(client.answers["accept"])
        else:
            out().print(f"the home of {joint} is accepted as it is now")
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
    with giving_back(client) if before.holder != before.you else contextlib.nullcontext():
        yield


def beware(arm: "ArmSnapshot") -> None:
    """Before all else, also where a command goes on: joints that have not confirmed a stop."""
    for sentence in unconfirmed(arm):
        err().print(sentence)


def require_known(names: list[str], arm: "ArmSnapshot") -> None:
    """Raise WrongInput for a name that no joint has, before a caution is printed."""
    known = [joint.name for joint in arm.joints]
    for name in names:
        if name not in known:
            raise WrongInput(f"there is no joint {name!r}; this arm has {' '.join(known)}")


@contextlib.contextmanager
def of_joint(client: Client, name: str) -> Iterator[None]:
    """Around what is asked of one joint: an empty name, or one with a slash, leads to no address of
    the coordinator, which can say no more than that. Raises WrongInput with the joints there are.
    """
    try:
        yield
    except WrongInput as error:
        if error.code == "not-found":
            require_known([name], client.arm())
        raise


@takes_play_options
def run(
    file: ProgramArgument,
    options: PlayOptions,
    url: UrlOption = DEFAULT_URL,
    as_json: JsonOption = False,
) -> ExitCode:
    """Play a program and show how it goes. Ctrl-C asks for a hold, twice for a stop.

    A pause of the program (M0, M60) is waited out: 'resume' in another terminal goes on.
    """
    text = read_program(file, MAX_LONG_BYTES)
    name = name_of(file)

    def play(client: Client, tell: Tell) -> int:
        return client.play(name, text, options, tell=tell)

    return play_and_follow(url, str(file), play, options, lambda _: text, as_json=as_json)


def name_of(file: Path) -> str:
    """A file's name; where that is not UTF-8, as far as it is."""
    return os.fsencode(file.name).decode("utf-8", "replace")


def play_and_follow(
    url: str,
    place: str,
    begin: Callable[[Client, Tell], int],
    options: PlayOptions,
    text_of: Callable[[Client], str],
    *,
    as_json: bool,
) -> ExitCode:
    """Begin a run with these options, and follow it. `place` is for the mistakes of its program."""
    with client_at(url) as client, Interrupts.counted() as pressed:
        client.arm()  # who hangs is found out before a plan is waited for
        edges_s = None
        if options.check_edges:
            edges_s = edges_s_of(client, options, text_of, pressed)
            if edges_s is not None:  # else the play is refused, and says why
                tell_edges(place, edges_s, options, as_json=as_json)
        number = begun(client, place, begin, pressed)
        with giving_back(client):
            caution(as_json=as_json)  # the joints are only being loaded
            beside = edges_json(edges_s, options)
            return follow(client, number, pressed, as_json=as_json, beside=beside)


def begun(
    client: Client, place: str, begin: Callable[[Client, Tell], int], pressed: Interrupts
) -> int:
    """A run that begins; its number. `place` is for the mistakes of its program.

    Ctrl-C while it is planned cancels it, once planning takes long.
    """
    try:
        with work_shown(pressed) as tell:
            return begin(client, tell)
    except KeyboardInterrupt:
        with giving_back(client), contextlib.suppress(Refused):
            client.hold()  # it may have begun in that very moment
        raise
    except WrongInput as error:
        if not error.mistakes:
            raise
        raise Failure(ExitCode.WRONG_INPUT, *show.mistakes(place, error.mistakes)) from error


def follow(
    client: Client,
    number: int,
    pressed: Interrupts,
    *,
    as_json: bool,
    beside: Mapping[str, object] = MappingProxyType({}),
) -> ExitCode:
    """Follow a run and show its report, in JSON with what is to stand `beside` its members.

    Ctrl-C that came before the run had its number holds it at once.
    """
    state, arm = follow_run(client, number, Progress(quiet=as_json), pressed)
    result = client.report(number)
    _show_report(client, result, as_json=as_json, beside=beside)
    if state.phase in ("held", "paused"):
        why = f": {state.message}" if state.message and is_at_rest(arm) else ""
        told = with_word(f"run {number} is {state.phase}{why}", arm)
        way_on = show.way_on(state, client.control())
        raise Failure(ExitCode.NOT_FINISHED, *unconfirmed(arm), f"{told}; {way_on}")
    code = exit_code_of(result.outcome)
    if code is not ExitCode.DONE:
        told = with_word(f"run {number} was {result.outcome}: {result.message}", arm)
        raise Failure(code, *unconfirmed(arm), told)
    return code


def hold(url: UrlOption = DEFAULT_URL, as_json: JsonOption = False) -> ExitCode:
    """Let the arm come to rest.

    A run rests on its path, so that 'resume' goes on; a homing or jog ends.
    At a pause of the program there is nothing to hold, and it is refused.
    """
    with client_at(url) as client:
        client.hold()
        arm = follow_rest(client, is_held, _awaiting_rest, Progress(quiet=as_json))
        state = client.run(arm.run.number) if arm.run else None
        way_on = "" if as_json or state is None else show.way_on(state, client.control())
    if as_json:
        told = client.answers["run"] if state else None
        show_json({"condition": client.answers["arm"]["condition"], "run": told})
    if not is_at_rest(arm):
        raise Failure(ExitCode.NOT_FINISHED, *unconfirmed(arm), f"not at rest: {headline(arm)}")
    if not as_json:
        out().print(f"{headline(arm)}; {way_on}" if way_on else headline(arm))
    return ExitCode.DONE


def resume(url: UrlOption = DEFAULT_URL, as_json: JsonOption = False) -> ExitCode:
    """Go on after a hold or a programmed pause.

    Control is left as it was: whoever watches may command what goes on.
    """
    with client_at(url) as client:
        with _in_passing(client):
            client.resume()
            caution(as_json=as_json)
        arm = client.arm()
    if as_json:
        _show_run_json(client)
    else:
        _show_condition(arm)
    return ExitCode.DONE


def _show_run_json(client: Client) -> None:
    """The arm's condition and its run, as they were told last."""
    told = client.answers["arm"]
    show_json({"condition": told["condition"], "run": told["run"]})


def _show_condition(arm: "ArmSnapshot", before: str = "") -> None:
    """The arm's condition, the worst first."""
    for sentence in [*unconfirmed(arm), f"{before}{headline(arm)}"]:
        out().print(sentence)


def stop(
    level: Annotated[
        StopWord,
        typer.Option(
            help="stop: brake and keep holding; stop-and-release: then motors off; release: "
            "motors off at once, and a raised arm may fall."
        ),
    ] = "stop",
    park: Annotated[
        bool,
        typer.Option(
            "--park",
            help="Before motors go off, turn the resting arm to the pose park while g is held.",
        ),
    ] = False,
    url: UrlOption = DEFAULT_URL,
    as_json: JsonOption = False,
) -> ExitCode:
    """Stop all joints and end the run. This is not a safety-rated emergency stop.

    Exit code 0 means that every joint has confirmed it; any other joint is named, and may move.
    """
    if park:
        _park(url, level, as_json=as_json)
    with client_at(url) as client:
        client.stop(level)
        # Who was never heard is not waited for, but named all the same.
        arm = follow_rest(
            client,
            lambda arm: is_stopped(arm, level) or is_past_waiting(arm),
            _awaiting_stop,
            Progress(quiet=False),  # it is not to be missed
        )
    astray = unstopped(arm)
    if as_json:
        stopped = [joint.name for joint in arm.joints if joint.name not in astray]
        told = client.answers["arm"]["condition"]
        show_json({"condition": told, "stopped": stopped, "unconfirmed": astray})
    if not is_stopped(arm, level):
        sentences = [f"{name}: stop not confirmed: {why}" for name, why in astray.items()]
        raise Failure(ExitCode.NOT_FINISHED, not_confirmed_by(astray), *sentences, headline(arm))
    if not as_json:
        out().print(headline(arm))
    return ExitCode.DONE


def _park(url: str, level: StopWord, *, as_json: bool) -> None:
    """To the pose `park` while a key is held; whoever leaves before has their motors on still."""
    from coordinator.cli.held_way import go_while_held  # with a WebSocket

    if level == "stop":
        raise Failure(
            ExitCode.WRONG_INPUT, "--park goes before motors go off: name a --level that does that"
        )
    with client_at(url) as client:
        arm = client.arm()
        beware(arm)
    try:
        go_while_held(url, "pose park", {"pose": "park"}, arm.poses["park"], as_json=as_json)
    except Failure as failure:
        raise Failure(
            failure.code,
            *failure.mistakes,
            "nothing was stopped, and no motor was told to go off: without --park they go off "
            "where the arm stands, and a raised arm may fall",
        ) from failure
    console = err() if as_json else out()
    console.print("motors go off now: an arm that leans on nothing may fall even from there")


def _awaiting_rest(arm: "ArmSnapshot") -> tuple[str, str]:
    """What `hold` waits for."""
    told = f"waiting up to {REST_S:g} s for the arm to come to rest: {arm.condition.word}"
    return told, rest_of(arm)


def _awaiting_stop(arm: "ArmSnapshot") -> tuple[str, str]:
    """For whom `stop` waits: they may move, and are named before all else."""
    return not_confirmed_by(unstopped(arm), f", waiting up to {REST_S:g} s"), ""


def override(
    percent: Annotated[
        float, typer.Argument(metavar="PERCENT", min=5.0, max=100.0, help="5 to 100.")
    ],
    url: UrlOption = DEFAULT_URL,
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
        _show_run_json(client)
    else:
        _show_condition(arm, f"{percent:g} % is asked for; ")
    return ExitCode.DONE


def output(
    name: Annotated[str, typer.Argument(metavar="NAME", help="As in the arm file.")],
    what: Annotated[Literal["on", "off"], typer.Argument(help="What it is to be.")],
    url: UrlOption = DEFAULT_URL,
    as_json: JsonOption = False,
) -> ExitCode:
    """Switch a tool's output by hand, while nothing moves.

    Control is left as it was.
    """
    wanted = what == "on"
    with client_at(url) as client:
        with _in_passing(client):
            client.switch_output(name, on=wanted)
        arm = follow_rest(
            client,
            lambda arm: _output_of(arm, name) is wanted,
            lambda arm: (f"waiting for {name} to be {what}: {arm.condition.word}", rest_of(arm)),
            Progress(quiet=as_json),
        )
    if as_json:
        show_json(client.answers["arm"])
    if _output_of(arm, name) is not wanted:
        told = f"{name} is not confirmed to be {what}"
        raise Failure(ExitCode.NOT_FINISHED, told, headline(arm))
    if not as_json:
        out().print(f"{name} is {what}")
    return ExitCode.DONE


def _output_of(arm: "ArmSnapshot", name: str) -> bool | None:
    """Whether an output is on, None where no joint that is heard says so."""
    heard = (joint for joint in arm.joints if joint.link != LinkWord.OFFLINE)
    return next((one.outputs[name] for one in heard if one.outputs and name in one.outputs), None)


def control(
    what: Annotated[
        Literal["show", "take", "release"],
        typer.Argument(help="take holds what moves for somebody else."),
    ] = "show",
    url: UrlOption = DEFAULT_URL,
    as_json: JsonOption = False,
) -> ExitCode:
    """Show who commands the arm's motion, take it over, or give it back.

    All terminals of one user on one computer count as one. Hold and stop need no control.
    """
    with client_at(url) as client:
        if what == "release":
            _require_holder(client.control())
        ask = {
            "show": client.control,
            "take": client.take_control,
            "release": client.release_control,
        }
        result = ask[what]()
    if as_json:
        show_json(client.answers["control"])
    elif result.holder is None:
        out().print("nobody has control")
    elif result.holder == result.you:
        out().print("you have control")
    else:
        out().print(f"{result.name} has control")
    return ExitCode.DONE


def _require_holder(control: "ControlAsked") -> None:
    """Raise Failure for who has no control to give back, naming who has."""
    if control.holder != control.you:
        who = "nobody has it" if control.holder is None else f"{control.name} has it"
        raise Failure(ExitCode.REFUSED, f"you have no control to give back: {who}")


def report(
    number: Annotated[
        int | None,
        typer.Argument(metavar="[RUN]", min=1, max=2**31 - 1, help="The last, if none is named."),
    ] = None,
    record: Annotated[
        Path | None,
        typer.Option(
            "--record",
            parser=path_of("--record"),
            metavar="FILE",
            help="Write it to this HTML file, to be printed or handed on, with the program's text.",
        ),
    ] = None,
    url: UrlOption = DEFAULT_URL,
    as_json: JsonOption = False,
) -> ExitCode:
    """Show what a run was: its starts with their proof, holds and end."""
    require_writable("--record", record, ".html")
    with client_at(url) as client:
        if number is None:
            number = client.last_run()
            if number is None:
                raise Failure(ExitCode.WRONG_INPUT, "no program has been played yet")
        if record is not None:
            return _write_record(client, number, record, as_json=as_json)
        try:
            result = client.report(number)
        except NotUnderstood as error:
            if as_json:
                show_json(client.answers["report"])
                return ExitCode.DONE
            raise Failure(
                ExitCode.WRONG_INPUT,
                f"the report of run {number} lacks what belongs in it ({error.member}): its file "
                "was changed, or is of another version; "
                f"'unisono report {number} --json' prints it as it is",
            ) from error
        _show_report(client, result, as_json=as_json)
    return ExitCode.DONE


def _write_record(client: Client, number: int, file: Path, *, as_json: bool) -> ExitCode:
    write_file(file, client.run_record(number))
    if as_json:
        show_json({"run": number, "record": str(file)})
    else:
        out().print(f"{file} is the record of run {number}")
    return ExitCode.DONE


def _show_report(
    client: Client,
    report: "KeptReport",
    *,
    as_json: bool,
    beside: Mapping[str, object] = MappingProxyType({}),
) -> None:
    if as_json:
        show_json({**client.answers["report"], **beside})
        return
    out().print(show.report_table(report))
    for remark in show.report_remarks(report):
        out().print(remark)
