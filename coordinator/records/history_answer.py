"""What is kept of a joint, in the units in which people are told."""

from collections.abc import Sequence
from typing import Final

from coordinator.answers.joint_history import HopWear, JointHistory, JointWear, Readings
from coordinator.config.joint import Joint
from coordinator.history.cells import Cell, Spread
from coordinator.history.levels import Look
from coordinator.history.quantities import GAUGES, Counts, Gauge
from coordinator.store.utc import utc_of
from protocol.constants import US

_UDEG: Final = 1_000_000
_DIGITS: Final = 6
"""Behind the point, of a mean."""


def history_of(joint: Joint, look: Look, stretches: Sequence[tuple[int, Cell]]) -> JointHistory:
    """What a look shows of a joint."""
    counts = [cell.counts for _, cell in stretches]
    gauges = {
        gauge.name: _readings(gauge, [cell.spreads[place] for _, cell in stretches])
        for place, gauge in enumerate(GAUGES)
    }
    return JointHistory(
        joint=joint.name,
        from_utc=utc_of(look.from_s),
        to_utc=utc_of(look.to_s),
        stretch_s=look.width_s,
        start_s=tuple(start_s for start_s, _ in stretches),
        **gauges,
        on_s=tuple(one.on_us / US for one in counts),
        moving_s=tuple(one.moving_us / US for one in counts),
        starts=tuple(one.starts for one in counts),
        reversals=tuple(one.reversals for one in counts),
        distance_deg=tuple(one.distance_udeg / _UDEG for one in counts),
        temperature_warning_c=joint.temperature_warning_c,
        temperature_limit_c=joint.temperature_limit_c,
        supply_warning_v=joint.supply_warning_v,
        supply_limit_v=joint.supply_limit_v,
    )


def wear_of(joint: str, since_s: int | None, counts: Counts, hop: HopWear) -> JointWear:
    """What a joint has done since then, and how its hop wears."""
    return JointWear(
        joint=joint,
        since_utc=None if since_s is None else utc_of(since_s),
        on_s=counts.on_us / US,
        moving_s=counts.moving_us / US,
        starts=counts.starts,
        reversals=counts.reversals,
        distance_deg=counts.distance_udeg / _UDEG,
        hop=hop,
    )


def _readings(gauge: Gauge, spreads: Sequence[Spread | None]) -> Readings:
    unit = gauge.per_unit
    return Readings(
        min=tuple(one.least / unit if one else None for one in spreads),
        mean=tuple(
            round(one.total / one.count / unit, _DIGITS) if one else None for one in spreads
        ),
        max=tuple(one.greatest / unit if one else None for one in spreads),
        count=tuple(one.count if one else 0 for one in spreads),
    )
