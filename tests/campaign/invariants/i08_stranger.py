"""I8: no peer that has not authenticated causes motion or changes configuration.

Judged where messages pass as bytes: damaged datagrams, and an intruder that repeats, changes and
makes up drives and shakes hands without the key. None of it may be taken. And what anybody may say,
that a joint is elsewhere, takes no stream away that stands; nor do streams that others broke lock a
joint out of its session.
"""

from typing import Final

from coordinator.rehearsal.joint_node import Node
from coordinator.rehearsal.laptop import Laptop
from protocol.drive import Drive
from tests.campaign.invariants.base import Invariant
from tests.campaign.truth import link_of

LOCKED_OUT: Final = "keys-unknown"


class NoStranger(Invariant):
    """Whatever is false is dropped."""

    name = "I8"

    def forged(self, node: Node, what: str, *, taken: bool) -> None:
        """False bytes came to a joint."""
        if taken:
            raise self.broken(f"{node.name} took {what}")

    def sent(self, laptop: Laptop, joint_id: str, drive: Drive) -> None:
        link = link_of(laptop, joint_id)
        connection = link.connection
        if LOCKED_OUT in connection._told_down:
            raise self.broken(f"{link.name} is locked out: {connection.message}")
        to = connection.connecting_to
        # Why there is none is said wherever one ended: nothing is where one stood to the last.
        if to is None or connection.welcome is None or connection.message:
            return
        if to.host in self.judge.lied_of.get(joint_id, ()):
            raise self.broken(
                f"the stream to {link.name} is given up for one to {to.host}, where somebody says "
                "that it is and nothing proves it"
            )
