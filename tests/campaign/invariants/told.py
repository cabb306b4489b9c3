"""What people are told is never calmer than the truth.

A word that claims rest (`REST_WORDS`) is false while any joint moves that this laptop's
session drives, whatever its statuses say: by what it sent, the coordinator knows that it may. Of a
joint that another has meanwhile, it knows what its last status said, and that it is not heard
within a second. It is looked at whenever something has happened at a laptop, and at joints.

A joint's light is no calmer either. It never claims rest while that joint itself moves. Where it
claims that the arm rests, no other joint of its session moves that did so before the drive was
sent by which it was told: what has begun since, it cannot know.
"""

from typing import Final

from coordinator.core.condition import Condition, condition
from coordinator.core.link.link import LOST_AFTER_US
from coordinator.rehearsal.joint_node import Node
from coordinator.rehearsal.laptop import Laptop
from protocol.drive import Drive
from protocol.light import REST_WORDS
from protocol.states import MOVING_STATES
from protocol.status import Status
from tests.campaign.invariants.base import Invariant
from tests.campaign.judge import Judge
from tests.campaign.truth import lamp_of, state_of

LOOK_US: Final = 20_000
"""Between two looks at a laptop: nobody reads faster, and a look costs as much as a turn."""


class NeverCalmerThanTrue(Invariant):
    """Looks at the condition of each laptop, and at every joint that begins to move."""

    name = "told"

    def __init__(self, judge: Judge) -> None:
        super().__init__(judge)
        self._looked_us: dict[Laptop, int] = {}
        self._moves: dict[str, float] = {}
        """Joints that moved when last looked at, and since when, true time."""
        self._sent: dict[str, dict[tuple[int, int], float]] = {}
        """By joint: when drives were sent, by session and number, from the newest taken on."""

    def sent(self, laptop: Laptop, joint_id: str, drive: Drive) -> None:
        numbers = self._sent.setdefault(joint_id, {})
        numbers[drive.session, drive.sequence] = self.world.now
        if self.world.now - self._looked_us.get(laptop, -LOOK_US) >= LOOK_US:
            self._looked_us[laptop] = self.world.now
            self._look(laptop)

    def heard(self, laptop: Laptop, joint_id: str) -> None:
        if self._moves:
            self._look(laptop)

    def drove(self, node: Node, laptop: Laptop, drive: Drive, status: Status | None) -> None:
        if status is None:
            return
        if status.state in MOVING_STATES and node.id not in self._moves:
            self._moves[node.id] = self.world.now
            self._look(laptop)
        self._look_at_light(node, drive)

    def touched(self, node: Node) -> None:
        moves = state_of(node) in MOVING_STATES
        if not moves:
            self._moves.pop(node.id, None)
        elif node.id not in self._moves:
            self._moves[node.id] = self.world.now
            for laptop in self.world.laptops:
                self._look(laptop)
        if moves and (word := lamp_of(node, self.world.now)) in REST_WORDS:
            raise self.broken(f"the light of {node.id} says {word}, though it moves itself")

    def _look_at_light(self, node: Node, drive: Drive) -> None:
        """A joint has taken a drive: what does its light say of the others?"""
        sent = self._sent[node.id]
        sent_us = sent[drive.session, drive.sequence]
        self._sent[node.id] = {
            (session, number): at_us
            for (session, number), at_us in sent.items()
            if session != drive.session or number >= drive.sequence
        }
        word = lamp_of(node, self.world.now)
        if word not in REST_WORDS:
            return
        for joint_id, since_us in self._moves.items():
            other = self.world.nodes[joint_id]
            if since_us < sent_us and other.unit.joint.session == drive.session:
                raise self.broken(
                    f"the light of {node.id} says {word} as it was told, though {joint_id} moves"
                )

    def _look(self, laptop: Laptop) -> None:
        if not laptop.awake:
            return
        told = condition(laptop.core, laptop.now)
        if told.word not in REST_WORDS:
            return
        for link in laptop.core.links:
            node = self.world.nodes[link.joint.id]
            if link.heard_us is None or laptop.now - link.heard_us > LOST_AFTER_US:
                raise self.broken(f"{_said(told)}, though {link.name} is not heard")
            if not node.alive or state_of(node) not in MOVING_STATES:
                continue
            if node.unit.joint.session == laptop.core.session:
                raise self.broken(f"{_said(told)}, though {link.name} is {state_of(node).word}")


def _said(told: Condition) -> str:
    return f"the arm was said to be {told.word} ({told.cause})"
