"""Answers to commands, and to who asks about itself."""

from typing import Literal

from coordinator.api.answers.arm import ArmPhase
from coordinator.api.answers.base import Answer, eg
from coordinator.api.tokens import Role


class Health(Answer):
    """The process is worth keeping."""

    status: Literal["ok"] = eg("ok")


class Taken(Answer):
    """The command was taken; whether and when it is carried out, `GET /arm` shows."""

    phase: ArmPhase = eg("moving")
    """What the arm is about just now."""


class HomingBegun(Answer):
    """A homing has begun."""

    homing: int = eg(1)
    """Its number."""


class RunBegun(Answer):
    """A run has begun."""

    run: int = eg(1)
    """Its number."""


class LoggedIn(Answer):
    """What a client may do."""

    role: Role | None = eg("operate")
    """`null` without a token where one is needed."""


class ControlState(Answer):
    """Who commands motion."""

    holder: str | None = eg("0c7a3b12f9de")
    """By which others may know it; `null` for nobody, as the next three."""
    name: str | None = eg("the phone")
    since_us: int | None = eg(79_000_000)
    """Arm time."""
    acted_us: int | None = eg(81_000_000)
    """Arm time of its last command."""
    watchers: int = eg(2)
    """Clients that follow the live feed."""
    you: str = eg("0c7a3b12f9de")
    """By which others may know the client that asks."""
