"""I3: with the coordinator dead at any instant, all joints are at rest within lease plus ramp (jog,
home, advance: within their expiry plus braking), at the same path time where all had the same
change and lease, else no more than the window apart (in the ramp of a start: two windows; with a
hold or override in flight: the horizon plus the path of the ramp, 0.5 s for most arms).

A dead coordinator is one from which nothing comes any more, so the first half is checked of every
joint at every instant: what moves has heard a valid drive within 1.5 s and a ramp. The second half
is judged when all joints of a start have come to rest by their leases or by silence. Where the
coordinator lives and only some are lost, the others must stop level with them: whoever took a drive
that was sent shortly before the first of all came to the end of its lease goes no further than it.
"""

from coordinator.core import events as ev
from coordinator.core.lease import HORIZON_MAX_US, WINDOW_MAX_US
from coordinator.rehearsal.node import Node
from coordinator.rehearsal.station import Station
from protocol.constants import SILENCE_US, US
from protocol.drive import Drive
from protocol.states import MOVING_STATES, JointState
from protocol.status import Status
from simulator.unit import WorldTruth
from tests.campaign.invariants.base import Invariant
from tests.campaign.judge import Judge
from tests.campaign.truth import cause_of, limits_of, path_of, state_of

S = JointState
UNDER_EXPIRY = (S.JOGGING, S.HOMING, S.ADVANCING)
CLOCK_ALLOWANCE_US = 100_000
"""By how much an arm clock may be off at rest, where a bad link makes a poor first map."""
ROUNDING_US = 2
LEVEL_US = 120_000
"""What is sent in this time before a lease ends is level: 150 ms of the design less one turn."""


class RestWithoutCoordinator(Invariant):
    """Remembers the newest drive that each joint took, and where joints came to rest."""

    name = "I3"

    def __init__(self, judge: Judge) -> None:
        super().__init__(judge)
        self._taken_us: dict[str, int] = {}
        self._expiry_us: dict[str, float] = {}
        """True time at which the newest permission to jog, home or advance ends."""
        self._group: dict[str, tuple[int, int, int]] = {}
        """Session, trajectory and the path time of the start by which each joint moved last."""
        self._rested: dict[str, tuple[int, int | None, int, str]] = {}
        """Path time, where the ramp began, rate and cause of each joint's rest after that."""
        self._sent_us: dict[tuple[int, str, int], int] = {}
        """When each drive with a lease was sent: by session, joint and number."""
        self._told_us: dict[str, int] = {}
        """When the newest drive was sent that each joint took."""
        self._ramping: set[str] = set()
        self._first: tuple[str, int, dict[str, int]] | None = None
        """Who came to the end of its lease first since a start, when, and what the others had."""
        self._unsettled_us = -(10**12)
        """When a hold or an override was last under way."""

    def sent(self, station: Station, joint_id: str, drive: Drive) -> None:
        if drive.lease_us is not None:
            self._sent_us[drive.session, joint_id, drive.sequence] = self.world.now

    def drove(self, node: Node, station: Station, drive: Drive, status: Status | None) -> None:
        if status is None:
            return
        self._told_us[node.id] = self._sent_us.pop((drive.session, node.id, drive.sequence), 0)
        self._taken_us[node.id] = self.world.now
        if drive.expiry_us is not None:
            self._expiry_us[node.id] = station.host.true(drive.expiry_us)

    def commanded(self, station: Station, command: ev.Command) -> None:
        if isinstance(command, ev.Hold | ev.Override | ev.Stop):
            self._unsettled_us = self.world.now

    def rebooted(self, node: Node) -> None:
        self._group.pop(node.id, None)
        self._rested.pop(node.id, None)

    def touched(self, node: Node) -> None:
        state, now = state_of(node), self.world.now
        if state is not S.RAMPING:
            self._ramping.discard(node.id)
        elif node.id not in self._ramping:
            self._ramping.add(node.id)
            if self._first is None:
                self._first = node.id, now, dict(self._told_us)
        if state not in MOVING_STATES or node.id in self.judge.broken_clock:
            return
        limits = limits_of(node)
        if limits is None:
            raise self.broken(f"{node.name} moves without a configuration")
        if state in UNDER_EXPIRY:
            over_us = now - self._expiry_us.get(node.id, 0)
            if over_us > CLOCK_ALLOWANCE_US:
                raise self.broken(
                    f"{node.name} is {state.word} {over_us / 1e3:.0f} ms after its permission ended"
                )
        silent_us = now - self._taken_us.get(node.id, -(10**12))
        ramp_us = max(path_of(node).ramp.duration_us, limits.velocity / limits.acceleration * US)
        if silent_us > (SILENCE_US + ramp_us) * 1.001 + 10:
            raise self.broken(
                f"{node.name} is {state.word} {silent_us / 1e6:.3f} s after the last drive"
            )

    def truth(self, node: Node, truth: WorldTruth) -> None:
        if truth.event in ("start", "resume"):
            session = node.unit.joint.session or 0
            self._group[node.id] = session, truth.trajectory, round(truth.path_us)
            self._rested.pop(node.id, None)
            self._first = None
        elif truth.event in ("hold", "finish") and node.id in self._group:
            path = path_of(node)
            cause = cause_of(node) if truth.event == "hold" else "finish"
            self._rested[node.id] = round(truth.path_us), path.began_us, 0, cause
            self._judge_apart()
        elif truth.event == "stop":
            self._group.pop(node.id, None)
            self._rested.pop(node.id, None)

    def _judge_apart(self) -> None:
        """All joints of one start rest: how far are they apart?"""
        groups = set(self._group.values())
        if len(groups) != 1 or len(self._group) < len(self.world.nodes):
            return
        if self._rested.keys() != self._group.keys() or len(self._rested) < 2:
            return
        if self._group.keys() & self.judge.broken_clock:
            # Where a counter jumped, path time did too.
            return
        causes = {cause for _, _, _, cause in self._rested.values()}
        if not causes <= {"lease", "silence", "finish"}:
            return
        (_, _, start_us), = groups  # fmt: skip
        paths = [rested[0] for rested in self._rested.values()]
        apart_us = max(paths) - min(paths)
        ramp_us = path_of(next(iter(self.world.nodes.values()))).ramp.fall_path(1.0)
        allowed_us = 2 * WINDOW_MAX_US if self._in_ramp(start_us + ramp_us) else WINDOW_MAX_US
        if self.world.now - self._unsettled_us < 5 * US:
            allowed_us = HORIZON_MAX_US + round(ramp_us)
        elif causes == {"lease"}:
            self._judge_level()
            began = [rested[1] or 0 for rested in self._rested.values()]
            if max(began) - min(began) > WINDOW_MAX_US + ROUNDING_US:
                raise self.broken(f"leases to {min(began)} and to {max(began)} µs were in force")
            if len(set(began)) == 1:
                # The same lease, and the same change too.
                allowed_us = 1
        if apart_us > allowed_us:
            where = ", ".join(
                f"{self.world.nodes[one].name} at {rested[0]} ({rested[3]})"
                for one, rested in self._rested.items()
            )
            raise self.broken(
                f"at rest {apart_us / 1e3:.1f} ms of path time apart, allowed are "
                f"{allowed_us / 1e3:.1f}: {where}"
            )

    def _in_ramp(self, ramp_end_us: float) -> bool:
        """Whether the arm was still speeding up as joints began to fall: not all fall equally far.

        Of one that finished nobody knows how far it would have fallen; it counts where it did.
        """
        falls = [path - began for path, began, _, _ in self._rested.values() if began is not None]
        if len(falls) == len(self._rested):
            return max(falls) - min(falls) > ROUNDING_US
        return max(path for path, _, _, _ in self._rested.values()) < (
            ramp_end_us + 2 * WINDOW_MAX_US
        )

    def _judge_level(self) -> None:
        """Nobody who was told in time goes further than the first that was lost."""
        if self._first is None:
            return
        first, first_us, told_us = self._first
        lease_us = self._rested[first][1]
        for one, (_, began_us, _, _) in self._rested.items():
            late_us = first_us - told_us.get(one, 0)
            if began_us is None or lease_us is None or late_us > LEVEL_US:
                continue
            if began_us > lease_us:
                raise self.broken(
                    f"{self.world.nodes[first].name} had a lease to {lease_us} µs, and "
                    f"{self.world.nodes[one].name} one to {began_us} µs, though it took a drive "
                    f"that was sent {late_us / 1e3:.0f} ms before the first of them ended"
                )
