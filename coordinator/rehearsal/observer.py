"""Who watches a world: told of everything at the instant at which it happens."""

from typing import TYPE_CHECKING

from coordinator.core import events as ev
from protocol.drive import Drive
from protocol.status import Status

if TYPE_CHECKING:
    from coordinator.rehearsal.node import Node
    from coordinator.rehearsal.station import Station


class Observer:
    """Sees everything and changes nothing. Each method does nothing unless overridden."""

    def sent(self, station: "Station", joint_id: str, drive: Drive) -> None:
        """A laptop sends a drive."""

    def drove(self, node: "Node", station: "Station", drive: Drive, status: Status | None) -> None:
        """A drive has come to a joint; None for one that it did not take."""

    def carried(self, node: "Node", data: bytes) -> None:
        """The bytes of a drive have come to a joint."""

    def forged(self, node: "Node", what: str, *, taken: bool) -> None:
        """Bytes that no trusted peer made have come to a joint, which took them or did not."""

    def touched(self, node: "Node") -> None:
        """Something happened in a joint or to it, a drive included."""

    def heard(self, station: "Station", joint_id: str) -> None:
        """A laptop has taken in a reply."""

    def commanded(self, station: "Station", command: ev.Command) -> None:
        """The operator's command was accepted."""

    def crashed(self, station: "Station") -> None:
        """A laptop's coordinator is gone."""

    def slept(self, station: "Station", slept_us: int) -> None:
        """A laptop has just woken up."""

    def rebooted(self, node: "Node") -> None:
        """A joint has lost its power and begun a new boot."""
