"""I3, where joints rest: at the same path time where all had the same change and permit, else no
more than the window apart, two windows where the rate was changing.

It is judged when all joints of a start have come to rest on the path. The window is the largest
that the worst link delay of the slowest link has given since that start. Only while a permit below
what all have, or a change of the rate, is on its way, and where a joint comes to rest by no permit
at all, may it be the longest horizon and the path of the ramp. A lower permit is on its way until
every joint has taken a drive with it before it was past it; a change until all joints have accepted
the same.

Where the coordinator lives and only some are lost, the others must stop level with them: whoever
took a drive that was sent shortly before the first of all came to the end of its permit goes no
further than it.
"""

from dataclasses import dataclass
from typing import Final

from coordinator.core import events as ev
from coordinator.core.run.permit import LEVELLING_US
from coordinator.rehearsal.joint_node import Node
from coordinator.rehearsal.laptop import Laptop
from protocol.constants import ACTIVE_INTERVAL_US
from protocol.drive import Drive
from protocol.pathtime import RateChange
from protocol.states import JointState
from protocol.status import Status
from simulator.unit import WorldTruth
from tests.campaign.invariants.base import Invariant
from tests.campaign.invariants.since_start import Apart, SinceStart, holds_unasked
from tests.campaign.judge import Judge
from tests.campaign.truth import cause_of, path_of, state_of

S = JointState
ROUNDING_US: Final = 2
LEVEL_US: Final = LEVELLING_US - ACTIVE_INTERVAL_US - 20_000
"""What is sent in this time before a permit ends is level (design section 5.2): levelling begins
one turn late at most, and the rest is for the errors of clocks."""
BY_ITSELF: Final = {"late", "withdrawn", "clock"}
"""Causes of a ramp that is not the end of a permit."""


@dataclass(frozen=True, slots=True)
class _Rest:
    path_us: int
    began_us: int | None
    """Where its ramp began."""
    cause: str


class RestTogether(Invariant):
    """Remembers what each joint was told, by what change it moved, and where it came to rest."""

    name = "I3"

    def __init__(self, judge: Judge) -> None:
        super().__init__(judge)
        self._starts: dict[int, SinceStart] = {}
        """The newest start by session."""
        self._group: dict[str, tuple[int, int, int]] = {}
        """Session, trajectory and the path time of the start by which each joint moved last."""
        self._rested: dict[str, _Rest] = {}
        """Each joint's rest after that."""
        self._sent_us: dict[tuple[int, str, int], int] = {}
        """When each drive with a permit was sent: by session, joint and number."""
        self._told_us: dict[str, int] = {}
        """When the newest drive was sent that each joint took."""
        self._heeded_us: dict[str, int] = {}
        """The same, of those after which it was still short of its permit."""
        self._law: dict[str, RateChange | None] = {}
        """The newest change that each joint accepted."""
        self._ramping: set[str] = set()
        self._first: tuple[str, int, dict[str, int]] | None = None
        """Who came to the end of its permit first since a start, when, and what the others had."""
        self.rests: list[Apart] = []

    # ---- what is said -------------------------------------------------------------------------

    def sent(self, laptop: Laptop, joint_id: str, drive: Drive) -> None:
        if drive.permit_us is None or drive.plan is None or drive.plan.change is None:
            return
        change, start = drive.plan.change, self._starts.get(drive.session)
        self._sent_us[drive.session, joint_id, drive.sequence] = self.world.now
        if start is None or (change.before_ppm == 0 and change.at_us != start.at_us):
            start = self._starts[drive.session] = SinceStart(change.at_us)
        if start.turn_us != self.world.now:
            start.turn_us, start.worst_delay_before_us = self.world.now, start.turn_worst_delay_us
            start.turn_worst_delay_us = max(
                link.quality.worst_delay_us for link in laptop.core.links
            )
        if drive.permit_us < start.offered_us and (
            start.held or holds_unasked(laptop) or self._rate_changes()
        ):
            permits = [link.status.permit_us for link in laptop.core.links if link.status]
            if all(permit is None or drive.permit_us < permit for permit in permits):
                start.lowered_us = self.world.now
        start.offer(drive.permit_us)

    def commanded(self, laptop: Laptop, command: ev.Command) -> None:
        start = self._starts.get(laptop.core.session)
        if isinstance(command, ev.Hold) and start is not None:
            start.held = True

    def drove(self, node: Node, laptop: Laptop, drive: Drive, status: Status | None) -> None:
        if status is None:
            return
        sent_us = self._sent_us.pop((drive.session, node.id, drive.sequence), 0)
        self._told_us[node.id] = sent_us
        state = state_of(node)
        if state is S.MOVING or state is S.ARMED:
            path = path_of(node)
            self._heeded_us[node.id] = sent_us
            self._law[node.id] = path.pending or path.current

    def _rate_changes(self) -> bool:
        """Whether a joint that moves has another rate before it, or goes over to it."""
        for node in self.world.nodes.values():
            path, clock = path_of(node), node.unit.joint.clock
            if state_of(node) is not S.MOVING or path.current is None or path.course is None:
                continue
            if path.pending is not None:
                return True
            if path.current.before_ppm and clock is not None:
                arm_us = clock.arm(node.unit.joint_us(self.world.now))
                if path.course.settled_us > arm_us:
                    return True
        return False

    # ---- what is done -------------------------------------------------------------------------

    def rebooted(self, node: Node) -> None:
        self._forget(node)

    def _forget(self, node: Node) -> None:
        self._group.pop(node.id, None)
        self._rested.pop(node.id, None)

    def touched(self, node: Node) -> None:
        state = state_of(node)
        if state is S.ADVANCING:
            # It goes to where the furthest rests, and is asked again after the resume.
            self._forget(node)
        if state is not S.RAMPING:
            self._ramping.discard(node.id)
        elif node.id not in self._ramping:
            self._ramping.add(node.id)
            if self._first is None:
                self._first = node.id, self.world.now, dict(self._told_us)

    def truth(self, node: Node, truth: WorldTruth) -> None:
        if truth.event in ("start", "resume"):
            session = node.unit.joint.session or 0
            self._group[node.id] = session, truth.trajectory, round(truth.path_us)
            self._rested.pop(node.id, None)
            self._first = None
        elif truth.event in ("hold", "finish") and node.id in self._group:
            cause = cause_of(node) if truth.event == "hold" else "finish"
            self._rested[node.id] = _Rest(round(truth.path_us), path_of(node).began_us, cause)
            self._judge_apart()
        elif truth.event == "stop":
            self._forget(node)

    def _judge_apart(self) -> None:
        """All joints of one start rest: how far are they apart?"""
        if len(set(self._group.values())) != 1 or len(self._group) < len(self.world.nodes):
            return
        if self._rested.keys() != self._group.keys() or len(self._rested) < 2:
            return
        if self._group.keys() & self.judge.broken_clock:
            # Where a counter jumped, path time did too.
            return
        (session, _, start_us), *_ = self._group.values()
        start = self._starts[session]
        rests = self._rested.values()
        causes = {rest.cause for rest in rests}
        on_its_way = self._on_its_way(start)
        if on_its_way is None and causes == {"permit"}:
            self._judge_permits(start)
        kind, allowed_us = self._allowed(start, start_us, causes, on_its_way)
        apart_us = max(rest.path_us for rest in rests) - min(rest.path_us for rest in rests)
        if causes != {"finish"}:
            self.rests.append(Apart(self.judge.network, kind, apart_us, allowed_us))
        if apart_us > allowed_us:
            where = ", ".join(
                f"{self.world.nodes[one].name} at {rest.path_us} ({rest.cause})"
                for one, rest in self._rested.items()
            )
            raise self.broken(
                f"at rest {apart_us / 1e3:.1f} ms of path time apart, allowed are "
                f"{allowed_us / 1e3:.1f} ({kind}): {where}"
            )

    def _on_its_way(self, start: SinceStart) -> str | None:
        """What not all joints had heard of in time."""
        if len({self._law.get(one) for one in self._group}) > 1:
            return "a change of rate on its way"
        if any(self._heeded_us.get(one, 0) < start.lowered_us for one in self._group):
            return "a lower permit on its way"
        return None

    def _allowed(
        self, start: SinceStart, start_us: int, causes: set[str], on_its_way: str | None
    ) -> tuple[str, int]:
        """The kind of a rest, and how far apart joints may be at it."""
        ramp_us = path_of(next(iter(self.world.nodes.values()))).ramp.fall_path(1.0)
        far_us = start.horizon_us + round(ramp_us)
        if on_its_way is not None:
            return on_its_way, far_us
        if causes & BY_ITSELF:
            return "late, withdrawn or by the clock", far_us
        if causes == {"permit"} and len({rest.began_us for rest in self._rested.values()}) == 1:
            # The same permit, and the same change too.
            return "permit", 1
        word = "silence" if "silence" in causes else "permit"
        if self._in_ramp(start_us + ramp_us, start.window_us):
            return f"{word}, the rate changing", 2 * start.window_us
        return word, start.window_us

    def _in_ramp(self, ramp_end_us: float, window_us: int) -> bool:
        """Whether the rate was changing as joints began to fall: not all fall equally far.

        Of one that finished nobody knows how far it would have fallen; it counts where it did.
        """
        rests = self._rested.values()
        falls = [rest.path_us - rest.began_us for rest in rests if rest.began_us is not None]
        if len(falls) == len(rests):
            return max(falls) - min(falls) > ROUNDING_US
        if any(law is not None and law.before_ppm for law in self._law.values()):
            return True
        return max(rest.path_us for rest in rests) < ramp_end_us + 2 * window_us

    def _judge_permits(self, start: SinceStart) -> None:
        """No two permits in force are more than a window apart, and who is told in time is
        level.
        """
        began = [rest.began_us or 0 for rest in self._rested.values()]
        if max(began) - min(began) > start.window_us + ROUNDING_US:
            raise self.broken(
                f"permits to {min(began)} and to {max(began)} µs were in force, the window was "
                f"never more than {start.window_us} µs"
            )
        if self._first is None:
            return
        first, first_us, told_us = self._first
        permit_us = self._rested[first].began_us
        for one, rest in self._rested.items():
            late_us = first_us - told_us.get(one, 0)
            if rest.began_us is None or permit_us is None or late_us > LEVEL_US:
                continue
            if rest.began_us > permit_us:
                raise self.broken(
                    f"{self.world.nodes[first].name} had a permit to {permit_us} µs, and "
                    f"{self.world.nodes[one].name} one to {rest.began_us} µs, though it took a "
                    f"drive that was sent {late_us / 1e3:.0f} ms before the first of them ended"
                )
