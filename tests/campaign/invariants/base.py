"""What every invariant is."""

from typing import ClassVar

from coordinator.core import events as ev
from coordinator.rehearsal.joint_node import Node
from coordinator.rehearsal.laptop import Laptop
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

    def sent(self, laptop: Laptop, joint_id: str, drive: Drive) -> None:
        """A laptop sends a drive."""

    def drove(self, node: Node, laptop: Laptop, drive: Drive, status: Status | None) -> None:
        """A drive came to a joint; None for one not taken."""

    def permitted(self, node: Node, drive: Drive) -> None:
        """By this drive a joint took another plan or began to move: a copy of it may be tried."""

    def touched(self, node: Node) -> None:
        """Anything happened in a joint."""

    def forged(self, node: Node, what: str, *, taken: bool) -> None:
        """Bytes that no trusted peer made came to a joint."""

    def truth(self, node: Node, truth: WorldTruth) -> None:
        """A start, resume, hold, finish, stop or home really happened."""

    def heard(self, laptop: Laptop, joint_id: str) -> None:
        """A laptop took in a reply."""

    def commanded(self, laptop: Laptop, command: ev.Command) -> None:
        """The operator's command was accepted."""

    def felt(self, laptop: Laptop, touched: ev.Touched, obeyed: tuple[ev.Command, ...]) -> None:
        """A coordinator told of a touch, and those commands were carried out for it."""

    def wished(
        self,
        laptop: Laptop,
        feed: object,
        number: int,
        made_us: int,
        obeyed: tuple[ev.Command, ...],
    ) -> None:
        """A wish came by a feed that was made at a true time, and those were carried out for it."""

    def handed(self, laptop: Laptop, why: str, *, taken: bool) -> None:
        """Control was taken from who had it, or else who had it has gone."""

    def crashed(self, laptop: Laptop) -> None:
        """A laptop's coordinator is gone."""

    def slept(self, laptop: Laptop, slept_us: int) -> None:
        """A laptop woke up."""

    def rebooted(self, node: Node) -> None:
        """A joint began a new boot."""

    def at_end(self) -> None:
        """Everything has come to rest."""
