"""What every invariant is."""

from typing import ClassVar

from coordinator.core import events as ev
from coordinator.rehearsal.node import Node
from coordinator.rehearsal.station import Station
from protocol.drive import Drive
from protocol.status import Status
from simulator.unit import WorldTruth
from tests.campaign.judge import Judge, Violated


class Invariant:
    """One rule. It is told what happens and raises through `broken`."""

    name: ClassVar[str]

    def __init__(self, judge: Judge) -> None:
        self.judge = judge
        self.world = judge.world

    def broken(self, message: str) -> Violated:
        """The exception to raise."""
        return Violated(self.name, message, self.world.now)

    def sent(self, station: Station, joint_id: str, drive: Drive) -> None:
        """A laptop sends a drive."""

    def drove(self, node: Node, station: Station, drive: Drive, status: Status | None) -> None:
        """A drive came to a joint; None for one not taken."""

    def permitted(self, node: Node, drive: Drive) -> None:
        """By this drive a joint took another plan or began to move: a copy of it may be tried."""

    def touched(self, node: Node) -> None:
        """Anything happened in a joint."""

    def forged(self, node: Node, what: str, *, taken: bool) -> None:
        """Bytes that no trusted peer made came to a joint."""

    def truth(self, node: Node, truth: WorldTruth) -> None:
        """A start, resume, hold, finish, stop or home really happened."""

    def heard(self, station: Station, joint_id: str) -> None:
        """A laptop took in a reply."""

    def commanded(self, station: Station, command: ev.Command) -> None:
        """The operator's command was accepted."""

    def crashed(self, station: Station) -> None:
        """A laptop's coordinator is gone."""

    def slept(self, station: Station, slept_us: int) -> None:
        """A laptop woke up."""

    def rebooted(self, node: Node) -> None:
        """A joint began a new boot."""

    def at_end(self) -> None:
        """Everything has come to rest."""
