"""The arm as it is now."""

from typing import Annotated, Literal

from coordinator.api.answers.base import Answer, eg, example_of, one_of
from coordinator.api.answers.homing import Homing
from coordinator.api.answers.joint import Joint
from coordinator.api.answers.report import Level
from coordinator.api.answers.run import Obstacle, RunNow
from coordinator.core.run import Phase

ARM_PHASES = ("idle", "homing", "jogging", *(one.value for one in Phase if one is not Phase.ENDED))
ArmPhase = Annotated[str, one_of(ARM_PHASES)]


class StandingWarning(Answer):
    """A warning that has begun and not ended."""

    id: int = eg(1)
    joint: str = eg("elbow")
    code: str = eg("joint-warm")
    """Stable, for programs."""
    level: Literal["attention", "danger"] = eg("attention")
    message: str = eg("elbow is at 67.0 °C, above 65 °C")
    """As it was when the warning began."""
    advice: str = eg("let it rest, and see that air gets to it")
    """What to do."""
    since_us: int = eg(80_500_000)
    """Arm time."""
    acknowledged: bool = eg(False)
    """Whether somebody has said that it was seen."""
    since_utc: str = eg("2026-05-01T10:00:22+00:00")
    """By the wall clock."""


class Warnings(Answer):
    """The warnings that stand, oldest first."""

    warnings: list[StandingWarning] = eg([example_of(StandingWarning)])


class Unknown(Answer):
    """A joint that announces itself and that no arm file names."""

    instance: str = eg("spare._unisono._tcp.local.")
    id: str = eg("joint-9")
    host: str = eg("192.0.2.19")


class Note(Answer):
    """Something that the coordinator told people."""

    at_us: int = eg(80_500_000)
    """Arm time."""
    level: Level = eg("info")
    code: str = eg("homed")
    """Stable, for programs."""
    message: str = eg("elbow is homed")
    joint: str | None = eg("elbow")
    """The joint that it is about."""


class NextStart(Answer):
    """What a start would be if somebody pressed play now, as far as the joints go.

    The figures are `null` while links or clocks are being measured, and where there is an obstacle.
    """

    lead_us: int | None = eg(240_000)
    """How far ahead it would be set."""
    within_us: int | None = eg(820)
    """How far apart the joints could begin at most."""
    slowest: str | None = eg("elbow")
    """The joint with the slowest link."""
    obstacle: Obstacle | None = eg(None)
    """Why play would be refused."""


class Arm(Answer):
    """The arm. Instants are arm time in µs, path times µs from a part's beginning."""

    arm: str = eg("bench arm")
    session: str = eg("8f00c2d15a7be391")
    """Another one with each coordinator, and after the laptop slept: arm time begins anew."""
    now_us: int = eg(81_230_042)
    phase: ArmPhase = eg("moving")
    run: RunNow | None = eg(example_of(RunNow))
    homing: Homing | None = eg(example_of(Homing))
    """The newest."""
    next_start: NextStart | None = eg(None)
    """`null` while anything is under way."""
    joints: list[Joint] = eg([example_of(Joint)])
    """Base to tool."""
    warnings: list[StandingWarning] = eg([])
    """Oldest first."""
    unknown: list[Unknown] = eg([])
    notes: list[Note] = eg([example_of(Note)])
    """The last 200, oldest first."""
