"""`unisono teach`: waypoints and sequences from a terminal."""

import contextlib
import signal
from collections.abc import Iterator
from typing import TYPE_CHECKING, Annotated

import typer

from coordinator.cli.common import (
    EXIT_CODES,
    ExitCode,
    Failure,
    JsonOption,
    ProgramArgument,
    UrlOption,
    caution,
    client_at,
    out,
    read_program,
    show_json,
)
from coordinator.cli.play_options import takes_play_options
from coordinator.cli.remote import beware, giving_back, name_of, play_and_follow
from coordinator.cli.show import mistakes as show_mistakes
from coordinator.client import Client, ClientError
from coordinator.config.settings import DEFAULT_URL
from coordinator.programs.options import PlayOptions
from coordinator.programs.progress import Tell

if TYPE_CHECKING:
    from coordinator.client.values import TaughtSnapshot

SequenceArgument = Annotated[str, typer.Argument(metavar="SEQUENCE", help="Its name.")]
NameArgument = Annotated[
    str, typer.Argument(metavar="NAME", help="Of a sequence or of a program that is kept.")
]


def add_to(app: typer.Typer) -> None:
    """Add the commands."""
    teach = typer.Typer(
        help="Record waypoints, and read, write, undo and go back to what was taught.",
        no_args_is_help=True,
        rich_markup_mode=None,
    )
    for command in (show, record, keep, program, write, play, delete, undo, redo, go):
        teach.command(epilog=EXIT_CODES)(command)
    app.add_typer(teach, name="teach")


def show(url: UrlOption = DEFAULT_URL, as_json: JsonOption = False) -> ExitCode:
    """List sequences with what they visit, programs, and what undo and redo would do."""
    with client_at(url) as client:
        taught = client.taught()
        if as_json:
            show_json(client.answers["taught"])
            return ExitCode.DONE
    names = {one.id: one.name for one in taught.waypoints}
    for sequence in taught.sequences:
        out().print(f"{sequence.name}: {len(sequence.visits)} visits")
        for place, visit in enumerate(sequence.visits, 1):
            out().print(f"  {place}. {names[visit.waypoint]}")
    for kept in taught.programs:
        out().print(f"{kept.name}: a program")
    if not taught.sequences and not taught.programs:
        out().print("nothing is taught yet")
    out().print(f"undo: {taught.undo or 'nothing'}\nredo: {taught.redo or 'nothing'}")
    return ExitCode.DONE


def record(
    sequence: SequenceArgument,
    name: Annotated[str, typer.Option(help="Of the waypoint; one is found without.")] = "",
    url: UrlOption = DEFAULT_URL,
    as_json: JsonOption = False,
) -> ExitCode:
    """Record where the arm stands as a new waypoint at the end of a sequence.

    A sequence of a new name is added with it. Every joint must be homed and rest.
    """
    with client_at(url) as client, giving_back(client):
        return _changed(client, client.record(sequence, name), as_json=as_json)


def keep(
    file: ProgramArgument,
    name: Annotated[
        str | None, typer.Option(help="Under which it is kept; that of the file without.")
    ] = None,
    url: UrlOption = DEFAULT_URL,
    as_json: JsonOption = False,
) -> ExitCode:
    """Keep a program, in place of the text that its name had; mistakes in it are no matter yet."""
    text = read_program(file)
    with client_at(url) as client, giving_back(client):
        taught = client.keep_program(name_of(file) if name is None else name, text)
        return _changed(client, taught, as_json=as_json)


@takes_play_options
def play(
    name: NameArgument,
    options: PlayOptions,
    url: UrlOption = DEFAULT_URL,
    as_json: JsonOption = False,
) -> ExitCode:
    """Play a sequence or a program that is kept, as 'run' plays a file."""

    def begin(client: Client, tell: Tell) -> int:
        return client.play_taught(name, options, tell=tell)

    def text_of(client: Client) -> str:
        return client.taught_text(name)

    return play_and_follow(url, name, begin, options, text_of, as_json=as_json)


def program(name: NameArgument, url: UrlOption = DEFAULT_URL) -> ExitCode:
    """Print a sequence as a program (RS-274), or a program that is kept: both are fit for 'run'."""
    with client_at(url) as client:
        text = client.taught_text(name)
    out().print(text, end="", markup=False, highlight=False, soft_wrap=True)
    return ExitCode.DONE


def write(
    sequence: SequenceArgument,
    file: ProgramArgument,
    url: UrlOption = DEFAULT_URL,
    as_json: JsonOption = False,
) -> ExitCode:
    """Make a sequence what a program says; one of a new name is added first.

    A waypoint is known by its name, the comment of its line, and changes in all sequences.
    """
    text = read_program(file)
    with client_at(url) as client:
        # First, as a sequence that is added and goes again costs what was there to redo.
        if mistakes := client.check_sequence(text):
            raise Failure(ExitCode.WRONG_INPUT, *show_mistakes(str(file), mistakes))
        with giving_back(client), _added(client, sequence):
            return _changed(client, client.write_sequence(sequence, text), as_json=as_json)


def delete(
    name: NameArgument, url: UrlOption = DEFAULT_URL, as_json: JsonOption = False
) -> ExitCode:
    """Delete a sequence with waypoints that only it visits, or a program; undo brings it back."""
    with client_at(url) as client, giving_back(client):
        taught = client.delete_taught(name)
        code = _changed(client, taught, as_json=as_json)
        if not as_json:
            _tell_queued(client, taught)
        return code


def _tell_queued(client: Client, taught: "TaughtSnapshot") -> None:
    """Which entries of the queue have nothing to play."""
    kept = {one.id for one in taught.sequences} | {one.id for one in taught.programs}
    for place, one in enumerate(client.queue().entries, 1):
        if one.taught not in kept:
            out().print(
                f"entry {place} of the queue, {one.name}, is deleted and will not begin: "
                f"'unisono queue remove {place}', or 'unisono teach undo'"
            )


def undo(url: UrlOption = DEFAULT_URL, as_json: JsonOption = False) -> ExitCode:
    """Take back the last change of what was taught, whoever made it."""
    with client_at(url) as client, giving_back(client):
        undone = client.taught().undo
        taught = client.undo_taught()
        if not as_json:
            out().print(f"undone: {undone}")
        return _changed(client, taught, as_json=as_json)


def redo(url: UrlOption = DEFAULT_URL, as_json: JsonOption = False) -> ExitCode:
    """Make the change again that was taken back last."""
    with client_at(url) as client, giving_back(client):
        return _changed(client, client.redo_taught(), as_json=as_json)


def go(
    waypoint: Annotated[str, typer.Argument(metavar="WAYPOINT", help="Its name.")],
    url: UrlOption = DEFAULT_URL,
) -> ExitCode:
    """Turn all joints to a waypoint, each its own way, slowly; Ctrl-C stops them.

    Look first what stands between. Exit code 0 means that the arm is there.
    """
    # Also where whoever started this ignores Ctrl-C, as a shell does for what is in the background.
    signal.signal(signal.SIGINT, signal.default_int_handler)
    with client_at(url) as client, giving_back(client):
        beware(client.arm())
        client.go_to(waypoint, begun=lambda: caution(as_json=False))
    out().print(f"the arm is at {waypoint}")
    return ExitCode.DONE


@contextlib.contextmanager
def _added(client: Client, sequence: str) -> Iterator[None]:
    """See to it that there is such a sequence; one that was added for nothing goes again."""
    wanted = " ".join(sequence.split()).casefold()
    if any(one.name.casefold() == wanted for one in client.taught().sequences):
        yield
        return
    client.add_sequence(sequence)
    try:
        yield
    except (ClientError, Failure):
        with contextlib.suppress(ClientError):  # then it stays, empty
            client.undo_taught()
        raise


def _changed(client: Client, taught: "TaughtSnapshot", *, as_json: bool) -> ExitCode:
    if as_json:
        show_json(client.answers["taught"])
    else:
        out().print(f"the last change is now: {taught.undo or 'none'}")
    return ExitCode.DONE
