"""I2: if any joint of a run does not start or stops, every other is at rest within its permit plus
the ramp; at a start, within the first permit plus the ramp.

A joint that stops gets no further permit. So it is enough, and sharper, that no joint ever holds a
permit more than a window beyond the furthest permit that each of the others ever had in the same
start, or than the first permit while one of them has not echoed *go*; that no permit is raised once
the coordinator knows that one of them ramps down or holds, or says itself that the arm holds; that
no joint passes its permit but by its ramp, for which it has the points; and that none which ramps
down or holds complies with anything, or reports a permit beyond where its ramp began, by which the
others would go on. Rates are 5 % at least, so whoever moves gets there.
"""

import math
from typing import Final

from coordinator.core.run import Phase
from coordinator.core.run.permit import WINDOW_MAX_US
from coordinator.rehearsal.joint_node import Node
from coordinator.rehearsal.laptop import Laptop
from protocol.constants import FIRST_PERMIT_US
from protocol.drive import Drive
from protocol.states import JointState
from protocol.status import Status
from simulator.unit import WorldTruth
from tests.campaign.invariants.base import Invariant
from tests.campaign.judge import Judge
from tests.campaign.truth import path_of, path_us, points_needed_us, state_of

ROUNDING_US: Final = 2.0


class NoFurtherThanPermit(Invariant):
    """Follows, for the newest start of each session, the furthest permit of each joint."""

    name = "I2"

    def __init__(self, judge: Judge) -> None:
        super().__init__(judge)
        self._start: dict[int, tuple[int, int, int]] = {}
        """Plan number, instant and path time of the newest start, by session."""
        self._furthest: dict[tuple[int, int], dict[str, float]] = {}
        """Furthest permit by session and a start's instant, then by joint."""
        self._mine: dict[str, tuple[int, int]] = {}
        """The session and start by which each joint moves or is about to."""
        self._began: dict[tuple[tuple[int, int], str], int] = {}
        """Number of the drive by which each joint was about to move, by start and joint."""
        self._offered: dict[tuple[int, int], int] = {}
        """Furthest permit offered, by session and start."""
        self._when_known: dict[tuple[int, int], int] = {}
        """The same when it became known that a joint comes to rest."""
        self._holding: dict[tuple[int, int], int] = {}
        """The permit offered first when the coordinator said that the arm holds."""
        self._ramp_from: dict[str, float] = {}
        """True path time at which each joint's ramp began that has not armed since."""

    def sent(self, laptop: Laptop, joint_id: str, drive: Drive) -> None:
        plan = drive.plan
        if plan is None or plan.change is None:
            return
        if drive.session == laptop.core.session:
            self._judge_offer(laptop, drive)
        if plan.change.before_ppm:
            return
        known = self._start.get(drive.session)
        # A withdrawn override leaves the change of the start, under a new number.
        if known is None or (known[0] < plan.number and known[1] != plan.change.at_us):
            self._start[drive.session] = plan.number, plan.change.at_us, plan.stand_us

    def _judge_offer(self, laptop: Laptop, drive: Drive) -> None:
        """Once a joint is known to come to rest, nobody is given more."""
        assert drive.plan is not None
        start = self._start.get(drive.session)
        if drive.permit_us is None or start is None:
            return
        key = drive.session, start[1]
        stopping = next(
            (
                link.name
                for link in laptop.core.links
                if self._mine.get(link.joint.id) == key
                and link.status is not None
                and link.status.trajectory == drive.plan.trajectory
                and link.status.sequence > self._began.get((key, link.joint.id), 2**32)
                and link.in_state(JointState.RAMPING, JointState.HELD)
            ),
            None,
        )
        run = laptop.core.run
        if run is not None and run.phase is Phase.HOLDING:
            held_us = self._holding.setdefault(key, drive.permit_us)
            if drive.permit_us > held_us:
                raise self.broken(
                    f"a permit to {drive.permit_us} µs is offered after one to {held_us} µs, "
                    "though the arm is said to be holding"
                )
        offered_us = self._offered.get(key, 0)
        self._offered[key] = max(offered_us, drive.permit_us)
        if stopping is not None:
            lowest_us = self._when_known.setdefault(key, offered_us)
            if drive.permit_us > lowest_us:
                raise self.broken(
                    f"a permit to {drive.permit_us} µs is offered after one to {lowest_us} µs, "
                    f"though {stopping} is known to come to rest"
                )

    def drove(self, node: Node, laptop: Laptop, drive: Drive, status: Status | None) -> None:
        plan = drive.plan
        if status is None:
            return
        self._judge_report(node, status)
        if plan is None or plan.change is None:
            return
        path, complies = path_of(node), status.plan == plan.number
        if complies and plan.change.before_ppm == 0:
            known = self._start.get(drive.session)
            if known is not None and plan.change.at_us == known[1]:
                self._mine[node.id] = drive.session, known[1]
                self._began.setdefault((self._mine[node.id], node.id), drive.sequence)
        state = state_of(node)
        # One that moves goes by its permit, also where it lacks the points for an override.
        if state is not JointState.MOVING and not (complies and state is JointState.ARMED):
            return
        key = self._mine.get(node.id)
        permit_us = path.effective_permit_us()
        if key is None or key[0] != drive.session or permit_us is None:
            return
        needed_us = points_needed_us(path, permit_us)
        if needed_us > path.buffer.buffered_us + ROUNDING_US:
            raise self.broken(
                f"{node.name} has a permit to {permit_us} µs and needs points up to "
                f"{needed_us:.0f} µs to come to rest, they end at {path.buffer.buffered_us} µs"
            )
        stand_us = path.stand_us if state is JointState.ARMED else None
        furthest = self._furthest.setdefault(key, {})
        furthest[node.id] = max(furthest.get(node.id, 0.0), float(permit_us))
        start_us = self._start[drive.session][2] if stand_us is None else stand_us
        if permit_us <= start_us + FIRST_PERMIT_US:
            return  # also where another lacks the points to start by it
        silent = [one for one in self.world.nodes if one not in furthest]
        if silent:
            names = ", ".join(self.world.nodes[one].name for one in silent)
            raise self.broken(
                f"{node.name} has a permit to {permit_us} µs, more than the first from "
                f"{start_us} µs, but {names} did not echo the start"
            )
        lowest = min(furthest, key=lambda one: furthest[one])
        if permit_us > furthest[lowest] + WINDOW_MAX_US:
            raise self.broken(
                f"{node.name} has a permit to {permit_us} µs, but "
                f"{self.world.nodes[lowest].name} never one beyond {furthest[lowest]:.0f} µs"
            )

    def _follow_ramp(self, node: Node) -> None:
        """Remember where a ramp began, until the joint has armed or left the path."""
        state = state_of(node)
        if state is JointState.RAMPING:
            if node.id not in self._ramp_from:
                self._ramp_from[node.id] = path_us(node, self.judge.joint_us(node))
        elif state is not JointState.HELD:
            self._ramp_from.pop(node.id, None)

    def _judge_report(self, node: Node, status: Status) -> None:
        """What comes to rest says so: the others go by it."""
        self._follow_ramp(node)
        began_us = self._ramp_from.get(node.id)
        if began_us is None or node.id in self.judge.broken_clock:
            return
        if status.plan:
            raise self.broken(
                f"{node.name} is {status.state.word} and says it complies with plan {status.plan}"
            )
        if status.permit_us is None or status.permit_us > began_us + ROUNDING_US:
            raise self.broken(
                f"{node.name} is {status.state.word}, its ramp began at path time "
                f"{began_us:.1f} µs, and it reports a permit to {status.permit_us} µs"
            )

    def truth(self, node: Node, truth: WorldTruth) -> None:
        if truth.event == "finish":
            key = self._mine.get(node.id)
            if key is not None:
                self._furthest.setdefault(key, {})[node.id] = math.inf

    def rebooted(self, node: Node) -> None:
        self._ramp_from.pop(node.id, None)

    def touched(self, node: Node) -> None:
        self._follow_ramp(node)
        state = state_of(node)
        if state is not JointState.MOVING and state is not JointState.RAMPING:
            return
        path = path_of(node)
        here = path_us(node, self.judge.joint_us(node))
        limit: float | None
        if state is JointState.MOVING:
            limit = path.effective_permit_us()
            if limit is not None and path.covers_end(int(limit)):
                limit = math.inf
        else:
            limit = None if path.began_us is None else path.began_us + path.ramp.path_us
        if limit is None:
            raise self.broken(f"{node.name} is {state.word} without a permit")
        # A deadline is processed up to 1 µs after its instant.
        if here > limit + ROUNDING_US:
            raise self.broken(f"{node.name} is {state.word} at path time {here:.1f} µs, "
                              f"its limit is {limit:.1f} µs")  # fmt: skip
