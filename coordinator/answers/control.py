"""Who commands motion."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class ControlState:
    """Who commands motion, for all to see."""

    holder: str | None
    """By which others may know it; None for nobody, as the next three."""
    name: str | None
    since_us: int | None
    """Arm time."""
    acted_us: int | None
    """Arm time of its last command."""
    watchers: int
    """Clients that follow the live feed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ControlAsked(ControlState):
    """Who commands motion, as one client is told."""

    you: str
    """By which others may know the client that asks."""
