"""What is known of a joint as a step is done, and what is kept of one that is."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Final

from coordinator.answers.bring_up import Figure
from coordinator.answers.joint_homings import JointHomings
from coordinator.config.joint import Joint
from coordinator.core.snapshot.joint import JointSnapshot
from coordinator.health.link_survey.joint_survey import JointSurvey

Figures = dict[str, Figure]
NOT_SO: Final = "not_so"
"""The figure that says what was measured against a step, a sentence; one that is done has none."""


class NotSo(Exception):
    """What the step asks for is not so; the text is the sentence."""


class WrongSaid(NotSo):
    """The step takes no such answer, or no such angles."""


class Against(NotSo):
    """Somebody saw or measured that it is not so: that takes the step back, if it was done."""

    def __init__(self, sentence: str, figures: Figures) -> None:
        super().__init__(sentence)
        self.figures = figures
        """What is kept of it."""


def measured_against(sentence: str, figures: Figures) -> Against:
    """What was measured against a step, kept with the sentence that says so."""
    return Against(sentence, figures | {NOT_SO: sentence})


@dataclass(frozen=True, slots=True)
class Said:
    """What somebody says of a step."""

    answer: str | None = None
    commanded_deg: float | None = None
    measured_deg: float | None = None


@dataclass(frozen=True, slots=True)
class Facts:
    """What is known of the joint as the step is done."""

    joint: Joint
    number: int
    """Its place, from the base."""
    of: int
    """How many joints the arm has."""
    snapshot: JointSnapshot
    homing: Mapping[str, Any] | None
    """What its newest homing found, as it is kept."""
    homings: JointHomings
    survey: JointSurvey | None
    """Of the newest survey that is done."""
    touched: str | None = None
    """The joint whose own control somebody used last, within the last minute."""
    width_before_deg: float | None = None
    """Of its home sensor, as it was last with the same motor and gear; None where not known."""
    configured: Mapping[str, Figure] = field(default_factory=dict)
    """What the step `configured` found last: surveys of before it count no more."""
    behind: int = 0
    """Number of the newest homing of before it was configured, or its body changed."""
    survey_ended_us: int | None = None
    """When the newest survey was over, arm time; None where there is none."""

    @property
    def newest_homing(self) -> int | None:
        """The number of the newest homing of the joint; None without one."""
        return None if self.homing is None else self.homing.get("homing")


@dataclass(frozen=True, slots=True)
class Found:
    """What is kept of a step."""

    figures: Figures
    picture: str | None = None


def require_heard(facts: Facts) -> JointSnapshot:
    """The joint as it is told. Raises NotSo where nobody hears it."""
    joint = facts.snapshot
    if joint.link != "up":
        raise NotSo(f"{joint.name} is not linked: {joint.link_message or joint.link}")
    return joint
