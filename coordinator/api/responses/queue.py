"""The queue as it is told."""

from typing import Final

from coordinator.answers.queue import EntryState, Queue, QueueEntry
from coordinator.api.responses.base import as_answer

QUEUE: Final = Queue(
    7,
    (
        QueueEntry(1, 5, "one tray by hand", 2, EntryState.PLAYS, 12),
        QueueEntry(2, 1, "one tray", 1, EntryState.WAITS, None),
    ),
    playing=True,
    message="",
)
as_answer(Queue)
as_answer(QueueEntry)
