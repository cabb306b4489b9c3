"""`unisono queue`: sequences and kept programs, played one after another."""

import contextlib
import time
from collections.abc import Mapping
from types import MappingProxyType
from typing import TYPE_CHECKING, Annotated, Final

import typer

from coordinator.cli.common import (
    EXIT_CODES,
    ExitCode,
    Failure,
    JsonOption,
    UrlOption,
    caution,
    client_at,
    out,
    require_yes,
    show_json,
)
from coordinator.cli.condition import unconfirmed
from coordinator.cli.edges import edges_json, edges_s_of, tell_edges
from coordinator.cli.play_options import changed, options_words, takes_play_options
from coordinator.cli.remote import begun, giving_back
from coordinator.cli.show import way_on
from coordinator.cli.watch import Interrupts, Progress, follow_run, with_word
from coordinator.client import Client, Refused, WrongInput
from coordinator.config.settings import DEFAULT_URL
from coordinator.programs.options import PlayOptions
from coordinator.programs.progress import Tell

if TYPE_CHECKING:
    from coordinator.client.values import Queue, QueueEntry, RunGoing, RunOver

LOOK_S: Final = 0.1
Place = Annotated[int, typer.Argument(metavar="PLACE", min=1, help="In the queue, from 1.")]


def add_to(app: typer.Typer) -> None:
    """Add the commands."""
    queue = typer.Typer(
        help="Queue sequences and kept programs, and play them one after another.",
        no_args_is_help=True,
        rich_markup_mode=None,
    )
    for command in (show, add, set_options, remove, move, clear, play):
        name = "set" if command is set_options else None
        queue.command(name, epilog=EXIT_CODES)(command)
    app.add_typer(queue, name="queue")


def show(url: UrlOption = DEFAULT_URL, as_json: JsonOption = False) -> ExitCode:
    """List what is queued, how far it is, and why it ended."""
    with client_at(url) as client:
        return _shown(client, client.queue(), as_json=as_json)


@takes_play_options
def add(
    name: Annotated[
        str, typer.Argument(metavar="NAME", help="Of a sequence or of a program that is kept.")
    ],
    options: PlayOptions,
    url: UrlOption = DEFAULT_URL,
    as_json: JsonOption = False,
) -> ExitCode:
    """Add a sequence or kept program at the end."""
    with client_at(url) as client, giving_back(client):
        edges_s = _edges_s(client, name, options)
        queue = client.queue_add(name, options)
        return _shown_with_edges(client, queue, name, edges_s, options, as_json=as_json)


@takes_play_options
def set_options(
    place: Place,
    options: PlayOptions,
    url: UrlOption = DEFAULT_URL,
    as_json: JsonOption = False,
) -> ExitCode:
    """Change how an entry is played. What no option names stays; --loops and --minutes replace
    each other. Without any option it is played once, as it is written.
    """
    with client_at(url) as client, giving_back(client):
        queue = client.queue()
        entry = _entry(queue, place)
        try:
            wanted = changed(queue.entries[place - 1].options, options)
        except ValueError as error:
            raise WrongInput(f"entry {place}: {error}") from error
        name = queue.entries[place - 1].name
        edges_s = _edges_s(client, name, wanted)
        queue = client.queue_set(entry, wanted)
        return _shown_with_edges(client, queue, name, edges_s, wanted, as_json=as_json)


def remove(place: Place, url: UrlOption = DEFAULT_URL, as_json: JsonOption = False) -> ExitCode:
    """Remove an entry; while the queue is played only one that waits."""
    with client_at(url) as client, giving_back(client):
        after = client.queue_remove(_entry(client.queue(), place))
        return _shown(client, after, as_json=as_json)


def move(
    place: Place,
    to: Annotated[int, typer.Argument(metavar="TO", min=1, help="Its new place, from 1.")],
    url: UrlOption = DEFAULT_URL,
    as_json: JsonOption = False,
) -> ExitCode:
    """Move an entry to another place."""
    with client_at(url) as client, giving_back(client):
        queue = client.queue()
        entry = _entry(queue, place)
        _entry(queue, to)
        return _shown(client, client.queue_move(entry, to - 1), as_json=as_json)


def clear(
    yes: Annotated[bool, typer.Option("--yes", help="Do not ask.")] = False,
    url: UrlOption = DEFAULT_URL,
    as_json: JsonOption = False,
) -> ExitCode:
    """Remove all entries, after a typed yes; not while the queue is played."""
    with client_at(url) as client:
        count = len(client.queue().entries)
        question = f"Remove all {count} entries of the queue?"
        if count:
            kept = "the queue is as it was"
            require_yes(question, "queue clear", kept, given=yes, as_json=as_json)
        with giving_back(client):
            return _shown(client, client.queue_clear(), as_json=as_json)


def play(url: UrlOption = DEFAULT_URL, as_json: JsonOption = False) -> ExitCode:
    """Play the queue from its first entry to its last. Ctrl-C asks for a hold, twice for a stop.

    An entry begins by itself once the one before has finished. Any other end ends the queue.
    """
    with client_at(url) as client, Interrupts.counted() as pressed:
        client.arm()  # who hangs is found out before a plan is waited for
        entries = client.queue().entries
        place = f"entry 1 of the queue, {entries[0].name}" if entries else "the queue"
        run = begun(client, place, _begin, pressed)
        with giving_back(client):
            caution(as_json=as_json)
            _follow(client, run, pressed, as_json=as_json)
        queue = client.queue()
        _shown(client, queue, as_json=as_json)
        if queue.message:
            raise Failure(ExitCode.NOT_FINISHED, *unconfirmed(client.arm()), queue.message)
    return ExitCode.DONE


def _begin(client: Client, tell: Tell) -> int:
    return client.play_queue(tell=tell)


def _follow(client: Client, run: int, pressed: Interrupts, *, as_json: bool) -> None:
    """Follow a run and those behind it, to the end of the queue."""
    following: int | None = run
    while following is not None:
        run = following
        state, arm = follow_run(client, run, Progress(quiet=as_json), pressed)
        if state.phase in ("held", "paused"):
            told = with_word(f"run {run} of the queue is {state.phase}", arm)
            on = way_on(state, client.control())
            raise Failure(ExitCode.NOT_FINISHED, *unconfirmed(arm), f"{told}; {on}")
        following = _next_run(client, run, pressed)


def _next_run(client: Client, run: int, pressed: Interrupts) -> int | None:
    """The run behind this one, once it has begun; None where the queue has ended."""
    answered, asked = pressed.count, False
    while (queue := client.queue()).playing:
        found = next((one.run for one in queue.entries if one.state == "plays"), None)
        if found is not None and found != run:
            return found
        if pressed.count > answered:
            answered = pressed.count
            with contextlib.suppress(Refused):  # it is at rest already, or the queue has ended
                if asked:
                    client.stop("stop")
                else:
                    client.hold()
            asked = True
        time.sleep(LOOK_S)
    return None


def _entry(queue: "Queue", place: int) -> int:
    if place > len(queue.entries):
        raise WrongInput(f"there is no place {place}: the queue has {len(queue.entries)}")
    return queue.entries[place - 1].id


def _told(one: "QueueEntry", going: "RunGoing | RunOver | None") -> str:
    """How far an entry is: one that waits and tells why was not begun when it was to be."""
    if one.state == "plays" and going is not None and going.run == one.run:
        return str(going.phase) if going.phase in ("held", "paused") else "plays"
    return "waits, did not begin" if one.state == "waits" and one.why else str(one.state)


def _edges_s(client: Client, name: str, options: PlayOptions) -> float | None:
    """How long one check of home edges takes of what is played so, if one is asked for."""
    if not options.check_edges:
        return None
    return edges_s_of(client, options, lambda client: client.taught_text(name))


def _shown_with_edges(
    client: Client,
    queue: "Queue",
    name: str,
    edges_s: float | None,
    options: PlayOptions,
    *,
    as_json: bool,
) -> ExitCode:
    """The queue, and how long its changed entry's checks of home edges take."""
    beside = edges_json(edges_s, options)
    code = _shown(client, queue, as_json=as_json, beside=beside)
    if beside and not as_json:
        tell_edges(name, edges_s, options, as_json=as_json)
    return code


def _shown(
    client: Client,
    queue: "Queue",
    *,
    as_json: bool,
    beside: Mapping[str, object] = MappingProxyType({}),
) -> ExitCode:
    if as_json:
        show_json({**client.answers["queue"], **beside})
        return ExitCode.DONE
    played = next((one.run for one in queue.entries if one.state == "plays"), None)
    going = client.run(played) if played is not None else None
    for place, one in enumerate(queue.entries, 1):
        run = f", run {one.run}" if one.run is not None else ""
        why = f": {one.why}" if one.why else ""
        told = _told(one, going)
        out().print(f"{place}. {one.name}{options_words(one.options)}: {told}{run}{why}")
    if not queue.entries:
        out().print("the queue is empty")
    elif going is not None and going.phase in ("held", "paused"):
        on = way_on(going, client.control())
        out().print(f"the queue is being played and stands {going.phase}: {on}")
    elif queue.playing:
        out().print("the queue is being played")
    if queue.message:
        out().print(queue.message)
    return ExitCode.DONE
