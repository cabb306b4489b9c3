"""One request to every joint, and all their answers."""

from functools import partial
from typing import Final

from coordinator.core.link.link import JointLink
from coordinator.core.outbox import Outbox
from protocol.messages import Discard, Prepare, Reject

ANSWER_PATIENCE_US: Final = 5_000_000
"""For a prepare or discard: several retransmissions of a small TCP stack."""


class Replies:
    """What the joints of a run answered to a *prepare* or *discard*."""

    def __init__(
        self, request: Prepare | Discard, links: list[JointLink], outbox: Outbox, now: int
    ) -> None:
        """Send the request to every joint that can hear."""
        self._request = request
        self._links = links
        self._outbox = outbox
        self._replies: dict[str, Reject | None] = {}
        for link in links:
            if link.up:
                self._send(link, now)

    def ask_again(self, link: JointLink, now: int) -> None:
        """A stream was opened anew: ask a joint that has not answered."""
        if link.name not in self._replies:
            self._send(link, now)

    def excuse(self, link: JointLink) -> None:
        """A joint is not waited for; what it answered already stands."""
        self._replies.setdefault(link.name, None)

    @property
    def refusal(self) -> tuple[str, Reject] | None:
        """The first joint that refused, and how."""
        for name, reject in self._replies.items():
            if reject is not None:
                return name, reject
        return None

    @property
    def silent(self) -> list[str]:
        """The joints that have not answered, base to tool."""
        return [link.name for link in self._links if link.name not in self._replies]

    def _send(self, link: JointLink, now: int) -> None:
        self._outbox.request(link, self._request, partial(self._keep, link), now)

    def _keep(self, link: JointLink, reject: Reject | None, _now: int) -> None:
        if reject is None or reject.code != "stream-closed":
            self._replies[link.name] = reject
