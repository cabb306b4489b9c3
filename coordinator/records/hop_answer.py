"""How a hop wears, as people are told: from what it was fitted to have on each day. Pure."""

from collections.abc import Sequence
from datetime import date
from typing import Final

from coordinator.answers.joint_history import HopWear
from coordinator.health.hop_estimate import Hop
from coordinator.health.supply_chain import MostLoad
from coordinator.health.wear import DayValue, Wear, day_values, lasting_ohm, most_hop_ohm, wear

TREND_DAYS: Final = 365
"""Of so many days up to today, so that what a ring was years ago, or a clock that was set to
another year for a while, says nothing of what it does now."""
LAST_YEAR: Final = 2199
_EPOCH: Final = date(1970, 1, 1).toordinal()
_END_DAY: Final = date(LAST_YEAR + 1, 1, 1).toordinal() - _EPOCH


def hop_wear(
    index: int,
    hop: Hop,
    load: MostLoad,
    means: Sequence[tuple[int, float]],
    today: int,
) -> HopWear:
    """Of the hop to that joint of an arm: as it is fitted now, and its mean in ohm on each day, by
    the number of days since 1970 as `today` is, oldest first.

    Takes some milliseconds at least, where the limit is near collapse a second or more.
    """
    limit_ohm = most_hop_ohm(index, load.source_v, load.hop_ohm, load.watts, load.limits_v)
    values = day_values(means)
    at_ohm = 0.0 if limit_ohm is None else limit_ohm
    found = wear(values, at_ohm, lasting_ohm(index, load.hop_ohm, at_ohm))
    first = means[0][0] if means else None
    passes, earliest, latest, reason = _when(found, limit_ohm, first)
    return HopWear(
        ohm=hop.ohm,
        uncertainty_ohm=hop.uncertainty_ohm,
        message=hop.reason,
        limit_ohm=limit_ohm,
        beyond=_is_beyond(hop, values, found, limit_ohm, today),
        days=len(means),
        since=None if first is None else _date(first, first),
        until=None if first is None else _date(means[-1][0], first),
        ohm_per_day=found.ohm_per_day,
        uncertainty_ohm_per_day=found.uncertainty_ohm_per_day,
        passes=passes,
        earliest=earliest,
        latest=latest,
        reason=reason,
    )


def _when(
    found: Wear, limit_ohm: float | None, first: int | None
) -> tuple[str | None, str | None, str | None, str]:
    """When it passes, the earliest and latest, and why it is not told when."""
    if limit_ohm is None:
        reason = (
            "with all joints in motion one is below its supply_limit_v even if this hop had none"
        )
        return None, None, None, reason
    if found.passes_day is None or first is None:
        return None, None, None, found.reason
    passes, earliest, latest = (
        None if day is None else _date(day, first)
        for day in (found.passes_day, found.earliest_day, found.latest_day)
    )
    reason = "" if passes is not None else f"at this rate it passes its limit after {LAST_YEAR}"
    return passes, earliest, latest, reason


def _is_beyond(
    hop: Hop, values: Sequence[DayValue], found: Wear, limit_ohm: float | None, today: int
) -> bool | None:
    if limit_ohm is None:
        return True
    now_ohm = hop.ohm
    if now_ohm is None and values:
        now_ohm = values[-1].ohm
    if now_ohm is None:
        return None
    # The worse of both: what is told must not be calmer than either.
    passed = found.passes_day is not None and found.passes_day < today + 1
    return passed or now_ohm > limit_ohm


def _date(day: float, first: int) -> str | None:
    """ISO 8601, no earlier than the first day; None where it is after the last year."""
    if day >= _END_DAY:
        return None
    return date.fromordinal(_EPOCH + int(max(day, first))).isoformat()
