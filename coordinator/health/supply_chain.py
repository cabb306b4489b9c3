"""The supply's way through the whole arm: what is known of it, and its volts at the most load.

A program moves all joints at once: every one has its run current from start to end, also where it
stands still on the path. So the worst case of any program that moves is all of them in motion.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from coordinator.config.arm import Arm
from coordinator.config.joint import Joint
from coordinator.health.alarm_kind import Finding
from coordinator.health.draw import WINDING_OHM, drawn_watts, most_watts
from coordinator.health.hop_estimate import HopEstimate, HopEstimator
from coordinator.health.load_flow import currents, load_flow
from coordinator.health.supply import SHORT, below_v, below_warning, feeds, is_enough, short
from protocol.states import JointState
from protocol.status import Status

SETTLE_US: Final = 2_500_000
"""After a load changed: every joint has measured anew twice by then, at once a second."""
SILENT_US: Final = 2_000_000
"""A joint that was not heard for so long may have changed its load unseen."""


APART_STANDS: Final = 16
"""For a fit of stands that no other such fit has: fewer leave many hops without a figure
(tests/bench, table `supply`), and an arm that is switched off each day must come to one."""

_FITTED: Final = "fitted and at the upper ends of what they may be"


@dataclass(frozen=True, slots=True)
class LowestVolts:
    """At each joint, base to tool, with all joints in motion."""

    volts: tuple[float, ...] | None
    """As each joint would read it; None where the supply would collapse."""
    fitted: tuple[bool, ...]
    """Of each hop, whether its resistance is fitted; otherwise it is the arm file's."""

    def worst(self, joints: Sequence[Joint]) -> int:
        """The place of the joint that comes nearest to its limit or furthest below; the last one
        where the supply collapses.
        """
        if self.volts is None:
            return len(joints) - 1
        spare_v = [v - joint.supply_limit_v for v, joint in zip(self.volts, joints, strict=True)]
        return spare_v.index(min(spare_v))

    def figures(self, joints: Sequence[Joint]) -> str:
        """Whose figures it is made of, a clause."""
        fitted = [
            joint.name for joint, is_fitted in zip(joints, self.fitted, strict=True) if is_fitted
        ]
        if not fitted:
            return "hop resistances are the arm file's, none is fitted yet"
        if len(fitted) == len(joints):
            return f"all hop resistances are {_FITTED}"
        return f"hop resistances to {', '.join(fitted)} are {_FITTED}, the rest is the arm file's"


def by_the_file(arm: Arm) -> tuple[float, ...] | None:
    """Volts with all joints in motion by the arm file's own figures; None where it collapses."""
    return load_flow(
        arm.source_v,
        [joint.hop_resistance_ohm for joint in arm.joints],
        [most_watts(joint) for joint in arm.joints],
    )


def supply_remark(arm: Arm) -> str | None:
    """A sentence where an arm in motion would stop for want of supply by its file's figures, or
    have joints below their warning.
    """
    volts = by_the_file(arm)
    lowest = LowestVolts(volts, (False,) * len(arm.joints))
    index = lowest.worst(arm.joints)
    joint = arm.joints[index]
    figures = (
        "by the arm file's source_v, hop_resistance_ohm and run_current_a (windings of "
        f"{WINDING_OHM:g} Ω are assumed)"
    )
    if volts is not None and volts[index] >= joint.supply_limit_v:
        low = below_warning(arm.joints, volts)
        return f"with all joints in motion {figures}, {low}" if low else None
    limit_v = joint.supply_limit_v
    what = (
        "the supply collapses"
        if volts is None
        else f"{joint.name} has {below_v(volts[index], limit_v)}"
    )
    return (
        f"with all joints in motion {what} {figures}; below its supply_limit_v "
        f"{joint.supply_limit_v:g} V {joint.name} stops, and the program ends there"
    )


@dataclass(frozen=True, slots=True)
class MostLoad:
    """What an arm with all joints in motion asks of its supply, each base to tool."""

    source_v: float
    hop_ohm: tuple[float, ...]
    watts: tuple[float, ...]
    limits_v: tuple[float, ...]
    """Below which a joint stops."""


class SupplyChain:
    """Takes the statuses of all joints of one arm, and makes stands of them."""

    def __init__(self, arm: Arm) -> None:
        count = len(arm.joints)
        self._arm = arm
        self._estimator = HopEstimator(count)
        self._apart = HopEstimator(count)
        self._apart_stands = 0
        self._found_apart: HopEstimate | None = None
        self._does: list[tuple[JointState, bool, bool] | None] = [None] * count
        self._watts = [0.0] * count
        self._sums_v = [0.0] * count
        self._counts = [0] * count
        self._heard_us: list[int | None] = [None] * count
        self._settled_us: int | None = None
        """When readings can be taken for those of the present loads."""
        self._stand: tuple[tuple[float, ...], tuple[float, ...]] | None = None
        """The newest: volts and watts; one that goes on as it was when it was first whole."""
        self._lowest: LowestVolts | None = None

    def observe(self, index: int, status: Status, now: int) -> None:
        """A status came from a joint."""
        if not feeds(status):  # it draws nothing, and what the others read is on its way too
            self._begin(now)
            self._does[index] = None
            return
        does = (status.state, status.energised, status.reduced)
        heard_us = self._heard_us[index]
        if does != self._does[index] or heard_us is None or now - heard_us > SILENT_US:
            self._close(now)
            self._does[index] = does
            joint = self._arm.joints[index]
            self._watts[index] = drawn_watts(joint, self._arm.idle_share, status)
        self._heard_us[index] = now
        settled_us, supply_mv = self._settled_us, status.supply_mv
        if settled_us is None or now < settled_us or supply_mv is None:
            return
        self._sums_v[index] += supply_mv / 1_000
        self._counts[index] += 1
        if self._counts[index] == 1 and min(self._counts) > 0:
            self._take_stand()

    def _close(self, now: int) -> None:
        """A load changes: what stood until now is one stand, if every joint was heard in it."""
        if min(self._counts) > 0 and all(
            heard_us is not None and now - heard_us <= SILENT_US for heard_us in self._heard_us
        ):
            self._take_stand()
            assert self._stand is not None
            self._estimator.add(*self._stand)
            self._add_apart(*self._stand)
        self._begin(now)

    def _add_apart(self, volts: Sequence[float], watts: Sequence[float]) -> None:
        self._apart.add(volts, watts)
        self._apart_stands += 1
        if self._apart_stands == APART_STANDS:
            self._found_apart = self._apart.estimate()
            self._apart, self._apart_stands = HopEstimator(len(volts)), 0

    def _begin(self, now: int) -> None:
        self._settled_us = now + SETTLE_US
        for k in range(len(self._counts)):
            self._sums_v[k], self._counts[k] = 0.0, 0

    def _take_stand(self) -> None:
        volts = [total / count for total, count in zip(self._sums_v, self._counts, strict=True)]
        self._stand = tuple(volts), tuple(self._watts)
        self._lowest = None

    def estimate(self) -> HopEstimate:
        """The hops, as far as they can be told."""
        return self._estimator.estimate()

    def estimate_apart(self) -> HopEstimate | None:
        """The hops by the newest `APART_STANDS` stands that are of no earlier such estimate; None
        before. For a trend: `estimate` goes back to stands of days ago, and two of it have most of
        them in common.
        """
        return self._found_apart

    def hop_ohm(self, *, most: bool = False) -> list[float]:
        """Of each hop: fitted, else the arm file's.

        `most`: the upper end of what a fitted one may be, with 90 % confidence each.
        """
        return [
            joint.hop_resistance_ohm
            if hop.ohm is None
            else hop.ohm + (hop.half_width_ohm or 0.0 if most else 0.0)
            for joint, hop in zip(self._arm.joints, self.estimate().hops, strict=True)
        ]

    def at_most_load(self) -> MostLoad:
        """What all joints in motion ask: hops as fitted, else as the arm file has them, from the
        source that the newest stand tells of, before one from the arm file's.
        """
        hop_ohm, joints = self.hop_ohm(), self._arm.joints
        source_v = self._arm.source_v
        if self._stand is not None:
            source_v = _source_v(*self._stand, hop_ohm)
        return MostLoad(
            source_v,
            tuple(hop_ohm),
            tuple(most_watts(joint) for joint in joints),
            tuple(joint.supply_limit_v for joint in joints),
        )

    def short(self, index: int) -> Finding:
        """Whether a joint is the one that would stop first with all joints in motion."""
        lowest, joints = self.lowest(), self._arm.joints
        if lowest is None:
            return Finding(SHORT, None)
        volts = None if lowest.volts is None else lowest.volts[index]
        if index != lowest.worst(joints):
            # One cause is one warning: of others that are short too nothing is said.
            return Finding(SHORT, False if is_enough(joints[index], volts) else None)
        return short(joints[index], volts, lowest.figures(joints))

    def lowest(self) -> LowestVolts | None:
        """The volts to expect with all joints in motion; None before there was a whole stand.

        From the newest stand: what is expected beyond its readings is only what more load drops,
        over hops at the upper ends of what they may be.
        """
        if self._stand is None:
            return None
        if self._lowest is None:
            fitted = tuple(hop.ohm is not None for hop in self.estimate().hops)
            self._lowest = LowestVolts(self._lowest_volts(*self._stand), fitted)
        return self._lowest

    def _lowest_volts(
        self, volts: Sequence[float], watts: Sequence[float]
    ) -> tuple[float, ...] | None:
        hop_ohm = self.hop_ohm(most=True)
        source_v = _source_v(volts, watts, hop_ohm)
        as_they_are = load_flow(source_v, hop_ohm, watts)
        in_motion = [most_watts(joint) for joint in self._arm.joints]
        # No stand can have more: a joint that draws more than in motion is none of this arm file.
        at_most = load_flow(source_v, hop_ohm, list(map(max, in_motion, watts)))
        if as_they_are is None or at_most is None:
            return None
        return tuple(
            read - (here - lower)
            for read, here, lower in zip(volts, as_they_are, at_most, strict=True)
        )


def _source_v(volts: Sequence[float], watts: Sequence[float], hop_ohm: Sequence[float]) -> float:
    """Of a source that feeds these volts and loads over that first hop."""
    return volts[0] + hop_ohm[0] * currents(volts, watts)[0]
