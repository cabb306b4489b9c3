"""Who watches a world: told of everything at the instant at which it happens.

Joints are named by their ids, laptops by their numbers, so that whoever tells needs to know nothing
above it.
"""

from typing import Protocol

from coordinator.core import events as ev
from protocol.drive import Drive
from protocol.status import Status
from simulator.network import Direction


class Observer(Protocol):
    """Sees everything and changes nothing."""

    def sent(self, laptop: int, joint_id: str, drive: Drive) -> None:
        """A laptop sends a drive."""

    def carried(self, joint_id: str, way: Direction, message: object) -> None:
        """A message has come to a joint, or from it to a laptop, as it is on the way."""

    def drove(self, joint_id: str, laptop: int, drive: Drive, status: Status | None) -> None:
        """A drive has come to a joint; None for one that it did not take."""

    def forged(self, joint_id: str, what: str, *, taken: bool) -> None:
        """Bytes that no trusted peer made have come to a joint, which took them or did not."""

    def touched(self, joint_id: str) -> None:
        """Something happened in a joint or to it, a drive included."""

    def heard(self, laptop: int, joint_id: str) -> None:
        """A laptop has taken in a reply."""

    def commanded(self, laptop: int, command: ev.Command) -> None:
        """The operator's command was accepted."""

    def crashed(self, laptop: int) -> None:
        """A laptop's coordinator is gone."""

    def slept(self, laptop: int, slept_us: int) -> None:
        """A laptop has just woken up."""

    def rebooted(self, joint_id: str) -> None:
        """A joint has lost its power, or restarted, and begun a new boot."""
