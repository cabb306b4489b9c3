"""What the parts of the core share: the queue of actions, and numbers that are never reused."""

from collections import deque
from typing import Final

from coordinator.codes.level import Level
from coordinator.core.events import Action, Content, Note, Touched
from coordinator.core.link.link import JointLink
from coordinator.core.link.requests import Answer
from protocol.messages import Reject

NOTES_KEPT: Final = 200


class Outbox:
    """Collects actions until the shell takes them."""

    def __init__(self) -> None:
        self.actions: list[Action] = []
        self.notes: deque[Note] = deque(maxlen=NOTES_KEPT)
        self.at_once = False
        """Something changed that the next drives must carry without waiting for their turn."""
        self._token = 0
        self._plan_number = 0
        self._trajectory = 0

    def take(self) -> list[Action]:
        """All actions since the last call."""
        actions, self.actions = self.actions, []
        return actions

    def drop_touches(self) -> None:
        """What people did at the joints' controls is told to nobody any more."""
        self.actions = [one for one in self.actions if not isinstance(one, Touched)]

    def request(self, link: JointLink, content: Content, answer: Answer, now: int) -> None:
        """Send a request on a joint's stream; `answer` gets its ack or reject."""
        self._token += 1
        self.actions.append(link.requests.request(self._token, content, answer, now))

    def note(
        self,
        now: int,
        level: Level,
        code: str,
        message: str,
        joint: str | None = None,
        *,
        detail: bool = False,
    ) -> None:
        """Tell people something; a detail is a part of what has a line of its own."""
        note = Note(now, level, code, message, joint, detail)
        self.notes.append(note)
        self.actions.append(note)

    def show(self, note: Note) -> None:
        """Show people a line that somebody else writes into the journal."""
        self.notes.append(note)

    def plan_number(self) -> int:
        """A new plan number: raised at every arm, go, override and withdrawal."""
        self._plan_number += 1
        self.at_once = True
        return self._plan_number

    def trajectory_number(self) -> int:
        """A new trajectory number: a joint may still hold the points of an earlier run."""
        self._trajectory += 1
        return self._trajectory


def ignore_reply(_reject: Reject | None, _now: int) -> None:
    """For an answer that nobody needs: whether it was carried out shows in what follows."""
