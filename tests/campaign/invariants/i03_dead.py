"""I3: with the coordinator dead at any instant, all joints are at rest within permit plus ramp
(jog, home, advance: within their expiry plus braking), at the same path time where all had the same
change and permit, else no more than the window apart (in the ramp of a start: two windows; with a
hold or override in flight: the horizon plus the path of the ramp, 0.5 s for most arms).

A dead coordinator is one from which nothing comes any more, so the first half is checked of every
joint at every instant: what moves has heard a valid drive within 1.5 s and a ramp. The second half
is `i03_apart.py`.
"""

from typing import Final

from coordinator.rehearsal.joint_node import Node
from coordinator.rehearsal.laptop import Laptop
from protocol.constants import SILENCE_US, US
from protocol.drive import Drive
from protocol.states import MOVING_STATES, JointState
from protocol.status import Status
from tests.campaign.invariants.i03_apart import RestTogether
from tests.campaign.judge import Judge
from tests.campaign.truth import limits_of, path_of, state_of

S = JointState
UNDER_EXPIRY: Final = frozenset({S.JOGGING, S.HOMING, S.ADVANCING})
CLOCK_ALLOWANCE_US: Final = 100_000
"""By how much an arm clock may be off at rest, where a bad link makes a poor first map. What it is
known to no better than this does not move (design section 5.7)."""


class RestWithoutCoordinator(RestTogether):
    """Remembers the newest drive that each joint took."""

    def __init__(self, judge: Judge) -> None:
        super().__init__(judge)
        self._taken_us: dict[str, int] = {}
        self._expiry_us: dict[str, float] = {}
        """True time at which the newest permission to jog, home or advance ends."""

    def drove(self, node: Node, laptop: Laptop, drive: Drive, status: Status | None) -> None:
        super().drove(node, laptop, drive, status)
        if status is None:
            return
        self._taken_us[node.id] = self.world.now
        if drive.expiry_us is not None:
            self._expiry_us[node.id] = laptop.host.true(drive.expiry_us)

    def touched(self, node: Node) -> None:
        super().touched(node)
        state, now = state_of(node), self.world.now
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
