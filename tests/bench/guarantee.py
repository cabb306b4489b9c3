"""Whether the clock guarantee ever fails, over as many starts as one likes.

Only the clocks are simulated, each joint for itself (`clock_part`), with a start's delay that is
typical of the network.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from random import Random

from coordinator.core.run.run import SETTLE_US
from protocol.constants import US
from tests.bench.clock_part import LEAD_US, MOVE_US, ClockPart, KnownStart
from tests.bench.in_virtual_time import shared_out

STARTS_A_GROUP = 25
"""Starts of the same joints, one after another; then others are brought up."""
FIRST_US = 15 * US
"""From a joint's first exchange to the first start: as long as homing takes at least."""
PAUSE_US = (200_000, 4 * US)


@dataclass(frozen=True, slots=True)
class Group:
    """Joints that are started together some times."""

    network: str
    joints: int
    seed: int


@dataclass(slots=True)
class Guaranteed:
    """What starts showed. Times in µs; lists of spreads have one value per start, others one per
    start and joint.
    """

    start_skew_us: list[float] = field(default_factory=list)
    start_skew_max_us: list[float] = field(default_factory=list)
    """What the report states that the start skew cannot exceed."""
    half_width_us: list[float] = field(default_factory=list)
    stated_us: list[float] = field(default_factory=list)
    """The error that the estimate states of itself."""
    used: float = 0.0
    """The largest part of a guarantee's half width that the truth was away from its middle."""
    covered: int = 0
    """Estimates whose error was within what they stated."""
    unlocked: int = 0
    """Clocks that were not trusted at a start; that start counts for nothing else."""
    outside: int = 0
    """True offsets outside the guarantee."""
    beyond: int = 0
    """Clocks that a joint went by and that were off by more than their bound."""
    broken: int = 0
    """Starts whose true start skew was more than the report's bound."""

    @property
    def violations(self) -> int:
        """Everything that the guarantee forbids."""
        return self.outside + self.beyond + self.broken

    def add(self, other: "Guaranteed") -> None:
        """Take in what another group showed."""
        for name in ("start_skew_us", "start_skew_max_us", "half_width_us", "stated_us"):
            getattr(self, name).extend(getattr(other, name))
        for name in ("covered", "unlocked", "outside", "beyond", "broken"):
            setattr(self, name, getattr(self, name) + getattr(other, name))
        self.used = max(self.used, other.used)


def measure(
    networks: Sequence[str], starts: int, joints: int, seed: int, processes: int
) -> dict[str, Guaranteed]:
    """At least so many starts in all, in equal parts on each network."""
    groups = -(-starts // (STARTS_A_GROUP * len(networks)))
    cases = [Group(network, joints, seed + k) for k in range(groups) for network in networks]
    found = {network: Guaranteed() for network in networks}
    for case, one in shared_out(one_group, cases, processes, "groups of starts"):
        found[case.network].add(one)
    return found


def one_group(group: Group) -> Guaranteed:
    """Bring joints up and start them together some times."""
    random = Random(f"guarantee {group.network} {group.seed}")
    instants, at_us = [], FIRST_US
    for _ in range(STARTS_A_GROUP):
        instants.append(at_us)
        at_us += SETTLE_US + MOVE_US + LEAD_US[group.network] + random.randrange(*PAUSE_US)
    joints = [
        ClockPart(group.network, random.getrandbits(64), instants).starts()
        for _ in range(group.joints)
    ]
    found = Guaranteed()
    for starts in zip(*joints, strict=True):
        judge_start(found, starts)
    return found


def judge_start(found: Guaranteed, starts: tuple[KnownStart | None, ...]) -> None:
    """Take in one start of all joints."""
    known = [one for one in starts if one is not None and one.dated is not None]
    found.unlocked += len(starts) - len(known)
    if len(known) < len(starts):
        return
    for one in known:
        half_us = (one.high_us - one.low_us) / 2
        found.outside += not one.low_us <= 0 <= one.high_us
        found.beyond += abs(one.clock_us) > one.clock_uncertainty_us
        found.covered += abs(one.estimate_us) <= one.stated_us
        found.half_width_us.append(half_us)
        found.stated_us.append(one.stated_us)
        found.used = max(found.used, abs(one.low_us + half_us) / half_us)
    start_skew_us = max(one.true_us for one in known) - min(one.true_us for one in known)
    dated = [one.dated for one in known if one.dated is not None]
    start_skew_max_us = max(
        late[1] - early[0]
        for k, late in enumerate(dated)
        for j, early in enumerate(dated)
        if k != j
    )
    found.broken += start_skew_us > start_skew_max_us
    found.start_skew_us.append(start_skew_us)
    found.start_skew_max_us.append(start_skew_max_us)
