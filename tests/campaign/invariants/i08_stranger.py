"""I8: no peer that has not authenticated causes motion or changes configuration.

Judged where messages pass as bytes: damaged datagrams, and an intruder that repeats, changes and
makes up drives and shakes hands without the key. None of it may be taken.
"""

from coordinator.rehearsal.joint_node import Node
from tests.campaign.invariants.base import Invariant


class NoStranger(Invariant):
    """Whatever is false is dropped."""

    name = "I8"

    def forged(self, node: Node, what: str, *, taken: bool) -> None:
        """False bytes came to a joint."""
        if taken:
            raise self.broken(f"{node.name} took {what}")
