"""A joint whose home is no more where it was: steps were lost, or its sensor moved."""

from typing import Final

from coordinator.codes.alarm_origin import AlarmOrigin
from coordinator.codes.priority import Priority
from coordinator.config.joint import Joint
from coordinator.health.alarm_kind import Finding, Kind
from coordinator.health.home_state import HomeState

WANDERED: Final[Kind] = Kind(
    "home-wandered",
    Priority.HIGH,
    AlarmOrigin.HOME,
    cause="steps were lost, or its home sensor or its magnet moved",
    consequence="it would go elsewhere than it was taught, so it does not count as homed",
    advice="look whether its home sensor and its magnet sit where they did, and nothing is in its "
    "way; a sensor that moved makes it go elsewhere than it was taught. To home it again mends "
    "neither. Once the place is right, say so on the page or by `unisono home --accept`",
    over="has its home accepted",
    dead_band="somebody has accepted its home",
)
"""Danger: the arm would go elsewhere than people expect it."""


def why_wandered(joint: Joint, home: HomeState | None) -> str:
    """Why a joint does not count as homed though it was; empty where it does."""
    if home is None or home.wandered_deg is None:
        return ""
    beyond = beyond_words(home.wandered_deg, joint.home_shift_limit_deg)
    return f"home was found {beyond}: steps were lost, or its home sensor moved"


def beyond_words(wandered_deg: float, limit_deg: float) -> str:
    """How far home was, and the limit; that it was raised since takes nothing back."""
    away = f"{wandered_deg:+.3g}° from its reference, the limit is {limit_deg:.3g}°"
    return away if abs(wandered_deg) > limit_deg else f"{away} now and was lower then"


def wandered(joint: Joint, home: HomeState | None) -> Finding:
    """Whether its home wandered and nobody has accepted it."""
    why = why_wandered(joint, home)
    return Finding(WANDERED, bool(why), f"{joint.name} does not count as homed: {why}")
