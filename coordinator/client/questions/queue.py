"""The queue of what is played one after another."""

from coordinator.answers.queue import Queue
from coordinator.client.questions.patience import PLANNING_S
from coordinator.client.questions.programs import members
from coordinator.client.questions.teaching import TeachingQuestions
from coordinator.programs.options import AS_WRITTEN, PlayOptions
from coordinator.programs.progress import Tell, untold


class QueueQuestions(TeachingQuestions):
    """The queue, changed and played."""

    async def queue(self) -> Queue:
        """What is queued to be played one after another."""
        answer = await self._asking.ask("queue", "GET", "/queue", has="entries")
        return self._asking.read(Queue, answer)

    async def queue_add(self, name: str, options: PlayOptions = AS_WRITTEN) -> Queue:
        """Add a sequence or kept program at the end of the queue, to be played as they say."""
        kept = await self._kept(name)
        edit = {"type": "add", "taught": kept.id, "options": members(options)}
        return await self._edit_queue(edit)

    async def queue_set(self, entry: int, options: PlayOptions) -> Queue:
        """Have the entry of this id played as these options say, and not as those before."""
        edit = {"type": "set-options", "entry": entry, "options": members(options)}
        return await self._edit_queue(edit)

    async def queue_remove(self, entry: int) -> Queue:
        """Remove the entry of this id; while the queue is played only one that waits."""
        return await self._edit_queue({"type": "remove", "entry": entry})

    async def queue_move(self, entry: int, to: int) -> Queue:
        """Move the entry of this id to another place, counted from 0."""
        return await self._edit_queue({"type": "move", "entry": entry, "to": to})

    async def queue_clear(self) -> Queue:
        """Remove all entries; not while the queue is played."""
        return await self._edit_queue({"type": "clear"})

    async def play_queue(self, *, tell: Tell = untold) -> int:
        """Play the queue from its first entry on; the first run's number.

        The next entry begins by itself once one has finished; any other end of a run ends the
        queue, whose `message` says why. `tell` is as for `play`.
        """
        body = {"revision": (await self.queue()).revision}
        answer = await self._asking.ask_long(
            "play", "POST", "/queue/play", body, tell, has="run", patience_s=PLANNING_S
        )
        return self._asking.read(int, answer["run"], "run")

    async def _edit_queue(self, edit: dict[str, object]) -> Queue:
        body = {"revision": (await self.queue()).revision, "edit": edit}
        answer = await self._asking.ask("queue", "POST", "/queue/edits", body, has="entries")
        return self._asking.read(Queue, answer)
