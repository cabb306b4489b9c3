"""Answers to commands, and to who asks about itself."""

from typing import Final, Literal

from coordinator.answers.control import ControlAsked
from coordinator.api.responses.base import ResponseModel, as_answer, eg
from coordinator.api.tokens import Role
from coordinator.codes.arm_phase import ArmPhase


class Health(ResponseModel):
    """The process is worth keeping."""

    status: Literal["ok"] = eg("ok")


class Taken(ResponseModel):
    """The command was taken; whether and when it is carried out, `GET /arm` shows."""

    phase: ArmPhase = eg("moving")
    """What the arm is about just now."""
    unconfirmed: list[str] = eg([])
    """Joints that have not confirmed a stop, this one or one before: they may move still."""


class HomingBegun(ResponseModel):
    """A homing has begun."""

    homing: int = eg(1)
    """Its number."""


class RunBegun(ResponseModel):
    """A run has begun."""

    run: int = eg(1)
    """Its number."""


class TextSent(ResponseModel):
    """A text was taken."""

    sha256: str = eg("5" * 64)
    """Its digest, by which it is named until another one comes."""


class LoggedIn(ResponseModel):
    """What a client may do."""

    role: Role | None = eg("operate")
    """`null` without a token where one is needed."""


as_answer(ControlAsked)
CONTROL: Final = ControlAsked(
    holder="0c7a3b12f9de",
    name="the phone",
    since_us=79_000_000,
    acted_us=81_000_000,
    watchers=2,
    you="0c7a3b12f9de",
)
