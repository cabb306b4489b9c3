"""From a hold to the rest of all joints: who rests, since when that is known, and where.

A status that was sent before the joint had heard of the hold proves nothing. A joint that is not
heard is at rest by its own rules after a while; where, is then unknown.
"""

from dataclasses import dataclass

from coordinator.core.link.link import JointLink, rests_after_us, rests_by_us
from coordinator.core.run.motion import Motion
from protocol.ramp import Ramp
from protocol.states import JointState


@dataclass(frozen=True, slots=True)
class HeldAt:
    """Where the joints rest, path time in µs by name; None where that is unknown."""

    path_us: dict[str, int | None]
    unconfirmed: tuple[str, ...]
    """Joints that rest by their own rules alone: none of them has said so."""
    rests_by_us: int | None
    """By when these do, arm time."""

    @property
    def known(self) -> list[int]:
        """The path times that are known."""
        return [path for path in self.path_us.values() if path is not None]

    @property
    def unknown(self) -> list[str]:
        """Joints of which nothing is known."""
        return [name for name, path in self.path_us.items() if path is None]

    @property
    def apart_us(self) -> int:
        """How far apart the known ones are."""
        return max(self.known) - min(self.known) if self.known else 0

    def is_partial(self, stand_us: int, *, confirmed: bool) -> bool:
        """Whether the start from a path time was a partial one.

        Nobody should have begun by a start that was never confirmed, and all by one that was.
        """
        began = [path > stand_us for path in self.known]
        return any(began) and not (confirmed and all(began))


class Rest:
    """One hold under way. `motion` is what the joints may move by, None before a start is made."""

    def __init__(
        self, links: list[JointLink], motion: Motion | None, booted: set[str], ramp: Ramp, now: int
    ) -> None:
        self._links = links
        self._motion = motion
        self._booted = booted
        self._since_us = now
        self._ramp = ramp
        self._gone_us = rests_after_us(ramp)
        self._sent = {link.name: link.orders.sequence for link in links}
        """Number of the last drive to each joint that did not carry the hold yet."""

    def reached(self, now: int) -> bool:
        """Whether every joint is known to be at rest."""
        return all(self._rests(link) or self._gone(link, now) for link in self._links)

    def next_deadline(self) -> int | None:
        """When a joint that is not heard any more will count as at rest by its own rules."""
        silent = (
            max(self._since_us, link.heard_us or 0)
            for link in self._links
            if link.name not in self._booted
        )
        return min((since_us + self._gone_us + 1 for since_us in silent), default=None)

    def places(self, now: int) -> HeldAt:
        """Where they rest, and of whom that is not confirmed."""
        gone = [one for one in self._links if one.name not in self._booted and not self._rests(one)]
        return HeldAt(
            {
                link.name: link.status.path_us
                if link.status and link.heard(now) and link.name not in self._booted
                else None
                for link in self._links
            },
            tuple(link.name for link in gone),
            rests_by_us(gone, self._ramp),
        )

    def _rests(self, link: JointLink) -> bool:
        """Whether a joint that has heard of the hold is at rest and will not start."""
        status = link.status
        if status is None or not link.at_rest or status.sequence <= self._sent[link.name]:
            return False
        pending = self._motion is not None and link.complies(self._motion.plan)
        return not (pending and status.state is JointState.ARMED)

    def _gone(self, link: JointLink, now: int) -> bool:
        """Whether a joint that does not answer is at rest by its own rules by now."""
        waited = now - self._since_us > self._gone_us
        return link.name in self._booted or (waited and not link.heard(now, self._gone_us))
