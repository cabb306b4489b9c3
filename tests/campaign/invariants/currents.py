"""Nothing moves, nor is moved by another joint, on a reduced current (design section 5.11).

A joint has its full current, settled, before it begins to move and as long as it moves or is asked
to; it reduces it only after its whole time at rest, and never where the arm file does not say that
it holds no load. So has every other joint of the arm that its coordinator hears when one begins to
move; and as long as one that is heard moves, every drive asks for the full current.
"""

from typing import Final

from coordinator.rehearsal.joint_node import Node
from coordinator.rehearsal.laptop import Laptop
from protocol.constants import CURRENT_SETTLE_US, US
from protocol.drive import Drive, Mode
from protocol.states import AT_REST, JointState
from protocol.status import Status
from simulator.unit import WorldTruth
from tests.campaign.invariants.base import Invariant
from tests.campaign.judge import Judge
from tests.campaign.truth import body_of

CLOCK_SHARE: Final = 0.999
"""A second of joint time is not quite as long in true time."""
UNHEARD_US: Final = 500_000
"""Of a joint that was not heard for longer its coordinator may believe that it is lost."""
TOLD_US: Final = 1_000_000
"""So long a joint must have moved, or been heard again, for its coordinator to act upon it."""


class FullCurrentToMove(Invariant):
    """Follows every motor's current, and who hears whom. Silent for arms that reduce none."""

    name = "current"

    def __init__(self, judge: Judge) -> None:
        super().__init__(judge)
        idle = self.world.arm.idle_current
        self._after_us = idle.after_s * US if idle is not None else None
        self._moving_us: dict[str, int] = {}
        """By joint: since when it moves, or is armed."""
        self._awake_us: dict[str, float] = {}
        """By joint: when it last moved, was armed, or was asked for the full current."""
        self._full_us: dict[str, float] = {}
        """By joint: when its full current came back last."""
        self._heard_us: dict[tuple[int, str], int] = {}
        self._again_us: dict[tuple[int, str], int] = {}
        """By session and joint: when it was heard last, and when it was after a long silence."""

    def truth(self, node: Node, truth: WorldTruth) -> None:
        if truth.event == "current-full":
            self._full_us[node.id] = truth.at_ns / 1_000
        elif truth.event == "current-reduced":
            self._judge_reduced(node, truth.at_ns / 1_000)

    def _judge_reduced(self, node: Node, at_us: float) -> None:
        joint = next(one for one in self.world.arm.joints if one.id == node.id)
        if self._after_us is None or joint.holds_load is not False:
            raise self.broken(f"{node.name} holds a load, or may, and reduces its current")
        if node.id in self.judge.broken_clock:
            return
        rested_us = at_us - self._awake_us.get(node.id, 0.0)
        if rested_us < CLOCK_SHARE * self._after_us:
            raise self.broken(
                f"{node.name} reduces its current {rested_us / 1e3:.0f} ms after it moved or was "
                f"asked to, not {self._after_us / 1e3:.0f} ms"
            )

    def rebooted(self, node: Node) -> None:
        self._moving_us.pop(node.id, None)

    def heard(self, laptop: Laptop, joint_id: str) -> None:
        key, now = (laptop.core.session, joint_id), self.world.now
        if now - self._heard_us.get(key, -US) > UNHEARD_US:
            self._again_us[key] = now
        self._heard_us[key] = now

    def drove(self, node: Node, laptop: Laptop, drive: Drive, status: Status | None) -> None:
        if status is None or not (drive.full_current or drive.mode is not Mode.NONE):
            return
        self._awake_us[node.id] = self.world.now
        if node.unit.joint.reduced:
            raise self.broken(f"{node.name} is asked for its full current, and has it reduced")

    def touched(self, node: Node) -> None:
        if self._after_us is None:
            return
        body, now = body_of(node), self.world.now
        if body.at_rest and body.state is not JointState.ARMED:
            if self._moving_us.pop(node.id, None) is not None:
                self._awake_us[node.id] = now
            return
        if body.reduced:
            raise self.broken(f"{node.name} is {body.state.word} on a reduced current")
        self._awake_us[node.id] = now
        if body.state in AT_REST or node.id in self._moving_us:
            return
        self._moving_us[node.id] = now
        self._judge_begin(node)

    def _judge_begin(self, node: Node) -> None:
        """All motors have had their full current for long enough as a joint begins to move."""
        session = node.unit.joint.session
        for other in self.world.nodes.values():
            if other.id in self.judge.broken_clock or not other.alive:
                continue
            if other is not node and not self._is_heard(session, other):
                continue
            since_us = self.world.now - self._full_us.get(other.id, 0.0)
            if other.unit.joint.reduced or since_us < CLOCK_SHARE * CURRENT_SETTLE_US:
                has = "a reduced current"
                if not other.unit.joint.reduced:
                    has = f"its full current for {since_us / 1e3:.0f} ms only"
                raise self.broken(f"{node.name} begins to move, and {other.name} has {has}")

    def _is_heard(self, session: int | None, node: Node) -> bool:
        """Whether the coordinator of a session has surely heard a joint of its own for a while."""
        key, now = (session or 0, node.id), self.world.now
        return (
            node.unit.joint.session == session
            and now - self._heard_us.get(key, -US) <= UNHEARD_US
            and now - self._again_us.get(key, now) > TOLD_US
        )

    def sent(self, laptop: Laptop, joint_id: str, drive: Drive) -> None:
        if self._after_us is None or drive.full_current:
            return
        for moving_id, since_us in self._moving_us.items():
            moving = self.world.nodes[moving_id]
            if self.world.now - since_us > TOLD_US and self._is_heard(drive.session, moving):
                name = self.world.nodes[joint_id].name
                raise self.broken(
                    f"a drive to {name} asks for no full current, and {moving.name} moves"
                )
