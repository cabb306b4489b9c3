"""A program that is begun in its middle goes slowly to where that is, and on only when asked.

Until the operator resumes at the pause behind the approach, no joint moves along any other path,
nor beyond the approach, nor faster than the arm file's teaching speed.
"""

from typing import Final

from coordinator.core import events as ev
from coordinator.core.run import Phase
from coordinator.motion import Part
from coordinator.programs import Move
from coordinator.rehearsal.joint_node import Node
from coordinator.rehearsal.laptop import Laptop
from protocol.constants import PATH_TOLERANCE_US
from protocol.drive import Drive
from protocol.states import JointState
from tests.campaign.invariants.base import Invariant
from tests.campaign.judge import Judge
from tests.campaign.truth import body_of, path_of, path_us, segment_allowance

ON_PATH: Final = (JointState.MOVING, JointState.RAMPING, JointState.ADVANCING)
CLOCK_SHARE: Final = 1.0005
"""For clock rate and slewing, as I5 allows."""


class SlowlyToTheEntry(Invariant):
    """Follows the newest play of each session."""

    name = "entry"

    def __init__(self, judge: Judge) -> None:
        super().__init__(judge)
        self._end_us: dict[int, int] = {}
        """By session: path time at which the approach ends, until somebody resumes behind it."""
        self._trajectory: dict[int, int] = {}
        """By session: that of the approach, once joints are told of it."""
        self._paused: set[int] = set()
        """Sessions whose run is paused."""

    def commanded(self, laptop: Laptop, command: ev.Command) -> None:
        session = laptop.core.session
        if isinstance(command, ev.Play):
            self._forget(session)
            first = command.parts[0]
            assert isinstance(first, Part)  # whole, as all that is played here
            if command.switches.from_line is not None and _is_approach(first):
                move = next(first.moves())
                self._end_us[session] = move.start_us + move.duration_us
        elif isinstance(command, ev.Resume) and session in self._paused:
            self._forget(session)

    def _forget(self, session: int) -> None:
        self._end_us.pop(session, None)
        self._trajectory.pop(session, None)
        self._paused.discard(session)

    def sent(self, laptop: Laptop, joint_id: str, drive: Drive) -> None:
        if drive.session not in self._end_us:
            return
        if drive.plan is not None:
            self._trajectory.setdefault(drive.session, drive.plan.trajectory)
        run = laptop.core.run
        if run is not None and run.phase is Phase.PAUSED:
            self._paused.add(drive.session)

    def touched(self, node: Node) -> None:
        session = node.unit.joint.session or 0
        body, path = body_of(node), path_of(node)
        if session not in self._end_us or body.state not in ON_PATH:
            return
        if path.buffer.trajectory != self._trajectory.get(session):
            raise self.broken(f"{node.name} goes on behind the approach, and nobody resumed")
        joint_us = self.judge.joint_us(node)
        here_us = path_us(node, joint_us)
        if here_us > self._end_us[session] + PATH_TOLERANCE_US:
            raise self.broken(
                f"{node.name} is at {here_us:.0f} µs, the approach ends at "
                f"{self._end_us[session]} µs, and nobody resumed"
            )
        arm = self.world.arm
        joint = next(one for one in arm.joints if one.id == node.id)
        counts_s = joint.velocity_deg_s * abs(joint.counts_per_degree)
        limit = counts_s * arm.jog_speeds.teaching * CLOCK_SHARE
        limit += segment_allowance(path, here_us)[0]
        velocity = abs(body.position(joint_us)[1])
        if velocity > limit:
            raise self.broken(
                f"{node.name} moves by {velocity:.0f} counts/s to the entry, allowed are "
                f"{limit:.0f}"
            )


def _is_approach(part: Part) -> bool:
    return any(isinstance(step, Move) and step.approach for step in part.steps)
