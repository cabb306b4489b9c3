"""The queue as it is told."""

from typing import Final

from coordinator.answers.queue import EntryState, Queue, QueueEntry
from coordinator.api.responses.base import as_answer
from coordinator.programs.options import PlayOptions

QUEUE: Final = Queue(
    7,
    (
        QueueEntry(1, 5, "one tray by hand", PlayOptions(2), EntryState.PLAYS, 12),
        QueueEntry(2, 1, "one tray", PlayOptions(optional_stop=True), EntryState.WAITS, None),
    ),
    playing=True,
    message="",
)
as_answer(Queue)
as_answer(QueueEntry)
as_answer(PlayOptions)
