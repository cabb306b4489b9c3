"""The queue as a value, and what may become of it. Pure: each function gives the queue after.

A queue plays from its first entry to its last. An entry that does not finish ends it. While it
plays only entries that wait may be removed: what comes next stays what people have read.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Annotated, Any, ClassVar, Final, Literal

from pydantic import Field

from coordinator.answers.queue import EntryState, Queue, QueueEntry
from coordinator.codes.outcome import Outcome
from coordinator.codes.refusal import RefusalCode
from coordinator.core.events import Refused
from coordinator.programs.options import AS_WRITTEN, PlayOptions
from coordinator.teaching.known import NOTHING_ELSE, Id

MOST: Final = 100
"""Entries: the live feed tells them whole, and nobody reads more."""
NOTHING: Final = Queue(0, (), playing=False, message="")
ENDED_WITH_COORDINATOR: Final = (
    "the coordinator ended while the queue was played; it does not go on by itself"
)

Place = Annotated[int, Field(ge=0, lt=MOST)]


# ---- what people ask ------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class AddEntry:
    """One more at the end."""

    taught: int
    options: PlayOptions = AS_WRITTEN


@dataclass(frozen=True, slots=True)
class RemoveEntry:
    """One less."""

    __pydantic_config__: ClassVar = NOTHING_ELSE
    type: Literal["remove"]
    entry: Id


@dataclass(frozen=True, slots=True)
class MoveEntry:
    """One to another place, counted from 0."""

    __pydantic_config__: ClassVar = NOTHING_ELSE
    type: Literal["move"]
    entry: Id
    to: Place


@dataclass(frozen=True, slots=True)
class SetOptions:
    """One played in another way."""

    entry: int
    options: PlayOptions


@dataclass(frozen=True, slots=True)
class ClearQueue:
    """None any more."""

    __pydantic_config__: ClassVar = NOTHING_ELSE
    type: Literal["clear"]


QueueEdit = AddEntry | RemoveEntry | MoveEntry | SetOptions | ClearQueue
_WAITS_NO_MORE: Final = {
    EntryState.PLAYS: "is being played",
    EntryState.FINISHED: "has finished",
    EntryState.ENDED: "has ended",
}


def edited(queue: Queue, edit: QueueEdit, name: str = "") -> Queue:
    """After an edit; `name` is that of what is added. What was said of its end is said no more.

    Raises Refused, and nothing has changed.
    """
    entries = list(queue.entries)
    if queue.playing and not isinstance(edit, RemoveEntry):
        raise Refused(
            RefusalCode.QUEUE_PLAYING,
            "the queue is being played: until it ends, entries that wait can only be removed",
        )
    match edit:
        case AddEntry():
            if len(entries) >= MOST:
                raise Refused(
                    RefusalCode.QUEUE_FULL, f"the queue has {MOST} entries, the most it may have"
                )
            new = max((one.id for one in entries), default=0) + 1
            waits = EntryState.WAITS
            entries.append(QueueEntry(new, edit.taught, name, edit.options, waits, None))
        case RemoveEntry():
            one = entries[_index(queue, edit.entry)]
            if queue.playing and one.state is not EntryState.WAITS:
                raise Refused(
                    RefusalCode.QUEUE_PLAYING,
                    f"{one.name} {_WAITS_NO_MORE[one.state]}: while the queue is played only "
                    "entries that wait can be removed",
                )
            entries.remove(one)
        case MoveEntry():
            one = entries.pop(_index(queue, edit.entry))
            entries.insert(edit.to, one)
        case SetOptions():
            k = _index(queue, edit.entry)
            entries[k] = replace(entries[k], options=edit.options, why=None)
        case ClearQueue():
            entries = []
    return replace(queue, entries=tuple(entries), revision=queue.revision + 1, message="")


def require_seen(queue: Queue, revision: int) -> None:
    """Raise Refused where somebody has edited since this revision."""
    if revision != queue.revision:
        raise Refused(
            RefusalCode.QUEUE_CHANGED,
            f"the queue has changed meanwhile (revision {queue.revision}, you saw {revision}); "
            "look at it and try again",
        )


# ---- what becomes of it ---------------------------------------------------------------------


def begun(queue: Queue) -> Queue:
    """From its first entry on. Raises Refused where it is empty or is being played."""
    if queue.playing:
        raise Refused(RefusalCode.QUEUE_PLAYING, "the queue is being played already")
    if not queue.entries:
        raise Refused(RefusalCode.QUEUE_EMPTY, "the queue is empty: nothing can be played")
    anew = tuple(replace(one, state=EntryState.WAITS, run=None, why=None) for one in queue.entries)
    return replace(queue, entries=anew, playing=True, message="")


def next_of(queue: Queue) -> QueueEntry | None:
    """The entry whose turn comes next; None where none waits."""
    return next((one for one in queue.entries if one.state is EntryState.WAITS), None)


def turn_of(queue: Queue, entry: int, name: str) -> Queue:
    """An entry's turn has come, under the name that it has now."""
    return _changed(queue, entry, state=EntryState.PLAYS, name=name)


def running(queue: Queue, entry: int, run: int) -> Queue:
    """Its run has begun."""
    return _changed(queue, entry, run=run)


def over(queue: Queue, entry: int, outcome: Outcome, why: str) -> Queue:
    """Its run is over: any outcome but finished ends the queue."""
    if outcome is not Outcome.FINISHED:
        return ended(queue, entry, f"its run was {outcome}{f': {why}' if why else ''}")
    after = _changed(queue, entry, state=EntryState.FINISHED)
    return after if next_of(after) is not None else replace(after, playing=False)


def ended(queue: Queue, entry: int, why: str) -> Queue:
    """An entry did not begin or finish, and nothing further is played."""
    place = next(k for k, one in enumerate(queue.entries, 1) if one.id == entry)
    name = queue.entries[place - 1].name
    message = f"the queue ended at {place} of {len(queue.entries)}, {name}: {why}"
    after = _changed(queue, entry, state=EntryState.ENDED, why=why)
    return replace(after, playing=False, message=message)


def refused(queue: Queue, entry: int, why: str) -> Queue:
    """The entry with which it was to begin did not: the queue is as it was before."""
    return _changed(queue, entry, why=why)


def taken_up(kept: Any) -> Queue:
    """What the database holds of it: nothing goes on by itself. Raises ValueError for no queue."""
    try:
        entries = tuple(map(_entry, kept["entries"]))
        queue = Queue(int(kept["revision"]), entries, bool(kept["playing"]), str(kept["message"]))
    except (KeyError, TypeError) as error:
        raise ValueError(f"what the database holds is no queue: {error!r}") from error
    if not queue.playing:
        return queue
    cut = tuple(
        replace(one, state=EntryState.ENDED, why=ENDED_WITH_COORDINATOR)
        if one.state is EntryState.PLAYS
        else one
        for one in queue.entries
    )
    return replace(queue, entries=cut, playing=False, message=ENDED_WITH_COORDINATOR)


def _entry(kept: Mapping[str, Any]) -> QueueEntry:
    run = kept["run"]
    # One that was kept before entries had options had a number of loops.
    told = kept["options"] if "options" in kept else {"loops": int(kept["loops"])}
    return QueueEntry(
        int(kept["id"]), int(kept["taught"]), str(kept["name"]), PlayOptions(**told),
        EntryState(kept["state"]), None if run is None else int(run), kept.get("why"),
    )  # fmt: skip


def _index(queue: Queue, entry: int) -> int:
    found = next((k for k, one in enumerate(queue.entries) if one.id == entry), None)
    if found is None:
        raise Refused(RefusalCode.QUEUE_ENTRY_UNKNOWN, f"there is no entry {entry} in the queue")
    return found


def _changed(queue: Queue, entry: int, **members: Any) -> Queue:
    entries = tuple(replace(one, **members) if one.id == entry else one for one in queue.entries)
    return replace(queue, entries=entries)
