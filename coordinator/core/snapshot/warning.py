"""A warning that stands."""

from dataclasses import dataclass

from coordinator.codes.level import Level
from coordinator.health.warnings import StandingWarning


@dataclass(frozen=True, slots=True)
class WarningSnapshot:
    """A warning that has begun and not ended."""

    id: int
    joint: str
    code: str
    """Stable, for programs."""
    level: Level
    """Attention or danger."""
    message: str
    """As it was when the warning began."""
    advice: str
    """What to do."""
    since_us: int
    """Arm time."""
    acknowledged: bool
    """Whether somebody has said that it was seen."""
    since_utc: str = ""
    """By the wall clock, which the core does not know: whoever tells people adds it."""


def warning_snapshot(warning: StandingWarning) -> WarningSnapshot:
    """A warning as it is now."""
    return WarningSnapshot(
        id=warning.id,
        joint=warning.joint,
        code=warning.kind.code,
        level=warning.kind.level,
        message=warning.message,
        advice=warning.kind.advice,
        since_us=warning.since_us,
        acknowledged=warning.acknowledged,
    )
